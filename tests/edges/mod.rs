mod clock;
mod keys;
mod originals;
mod uploads;
mod walls;
