mod clock;
mod keys;
mod originals;
mod walls;
