mod thread;
