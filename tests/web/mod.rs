mod look;
