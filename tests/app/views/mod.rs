//! Views: what is shown is what was done, and only to whoever may see it.

mod story;
mod words;
