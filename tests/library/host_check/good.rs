//! Good hosts, about whom nothing is found.
