
mod custody;
