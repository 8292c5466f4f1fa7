//! Labels and papers as PDF.
