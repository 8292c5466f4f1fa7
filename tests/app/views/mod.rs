//! Views: what is shown is what was done, and only to whoever may see it.

mod fading;
mod findings;
mod story;
mod words;
