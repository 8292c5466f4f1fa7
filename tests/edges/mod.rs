mod clock;
mod keys;
mod originals;
