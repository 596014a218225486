//! What is identified, against closed forms.
