//! Chance that can be thrown again: the same seed throws the same.

/// SplitMix64 (Steele, Lea and Flood, "Fast splittable pseudorandom number generators", 2014; constants from memory).
pub struct Dice(u64);

impl Dice {
    pub fn new(seed: u64) -> Self {
        Self(seed)
    }

    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// 0 up to but not `n`, which is not 0.
    pub fn below(&mut self, n: usize) -> usize {
        usize::try_from(self.next() % n as u64).unwrap()
    }

    /// Whether something of so many per cent happens.
    pub fn percent(&mut self, n: usize) -> bool {
        self.below(100) < n
    }

    pub fn pick<T: Copy>(&mut self, of: &[T]) -> Option<T> {
        (!of.is_empty()).then(|| of[self.below(of.len())])
    }
}
