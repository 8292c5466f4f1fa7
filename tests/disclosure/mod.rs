mod checker;
mod codes;
mod hostile;
mod refusals;
mod sample;
mod samples;
