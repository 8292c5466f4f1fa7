//! The application: one append path, and views.
