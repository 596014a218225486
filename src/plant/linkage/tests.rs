//! Checks of the linkage against its closed forms and printed tables.
