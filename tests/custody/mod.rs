mod thread;

mod refusals;
