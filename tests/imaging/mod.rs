mod probe;
mod ridge;
