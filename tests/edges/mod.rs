mod clock;
mod config;
mod keys;
mod metrics;
mod originals;
mod sealed;
mod uploads;
mod walls;
