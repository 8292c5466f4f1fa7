mod copies;
mod probe;
mod recipe;
mod resolution;
mod ridge;
