//! A seed from the browser's own randomness.
//!
//! Keys and nonces are drawn where they are made; this is for what merely has to differ (pauses, ids of tabs).

use super::{clock, js};

/// A seed that differs each time.
#[must_use]
pub fn seed() -> u64 {
    let mut bytes = [0; 8];
    let drawn = js::window()
        .and_then(|window| window.crypto().ok())
        .is_some_and(|crypto| crypto.get_random_values_with_u8_array(&mut bytes).is_ok());
    if drawn {
        return u64::from_le_bytes(bytes);
    }
    // Every browser that runs WebAssembly has the above; should one not, two clocks still differ.
    clock::now_ms().unsigned_abs() ^ clock::monotonic_ms().to_bits()
}
