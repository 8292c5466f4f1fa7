mod clock;
mod keys;
mod originals;
mod sealed;
mod uploads;
mod walls;
