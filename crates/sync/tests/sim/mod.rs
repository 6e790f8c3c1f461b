//! A small world in one thread: devices with disks, a relay, a network, clocks, and a helper who means ill.

pub mod document;
pub mod relay;
pub mod world;

/// The one source of chance: xorshift64*, so that a seed says everything.
#[derive(Clone)]
pub struct Dice(u64);

impl Dice {
    pub fn new(seed: u64) -> Self {
        Self(seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) ^ 0x1234_5678_9abc_def1)
    }

    pub fn next(&mut self) -> u64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        self.0.wrapping_mul(0x2545_f491_4f6c_dd1d)
    }

    pub fn below(&mut self, n: usize) -> usize {
        (self.next() >> 33) as usize % n
    }

    /// True in so many of a hundred throws.
    pub fn percent(&mut self, chance: usize) -> bool {
        self.below(100) < chance
    }
}
