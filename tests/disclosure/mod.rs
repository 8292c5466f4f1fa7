mod checker;
mod codes;
mod hostile;
mod papers;
mod refusals;
mod sample;
mod samples;
mod signature;
