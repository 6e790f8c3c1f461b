//! QR codes (ISO/IEC 18004) as a matrix and as SVG.

use std::fmt;
use std::fmt::Write as _;

use thiserror::Error;
use zeroize::Zeroizing;

/// The light margin that a reader needs around a code, in modules. [published: ISO/IEC 18004]
const MARGIN: usize = 4;

/// The text does not fit any QR code.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
#[error("a text of {len} bytes is too long for a QR code")]
pub struct QrError {
    /// The text's length in bytes.
    pub len: usize,
}

/// A QR code. It shows a secret to whoever sees it, so `Debug` does not print it, and its modules are wiped when
/// dropped.
#[derive(Clone, PartialEq, Eq)]
pub struct QrCode {
    size: usize,
    dark: Zeroizing<Vec<bool>>,
}

impl fmt::Debug for QrCode {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "QrCode({0} x {0}, redacted)", self.size)
    }
}

impl QrCode {
    /// The smallest code for a text that still reads with 15 % of it unreadable (level M of ISO/IEC 18004,
    /// raised where that costs no size): it is scanned from a screen, in a kitchen, where fingers and glare cover a
    /// part.
    ///
    /// # Errors
    /// [`QrError`] beyond 2,331 bytes. [published: ISO/IEC 18004, version 40-M in byte mode]
    pub fn of(text: &str) -> Result<Self, QrError> {
        // As bytes at once: a link has small letters, for which QR's denser modes have no code.
        let code = qrcodegen::QrCode::encode_binary(text.as_bytes(), qrcodegen::QrCodeEcc::Medium)
            .map_err(|_| QrError { len: text.len() })?;
        let side = code.size();
        let dark = (0..side).flat_map(|y| (0..side).map(move |x| (x, y))).map(|(x, y)| code.get_module(x, y)).collect();
        Ok(Self { size: usize::try_from(side).unwrap_or_default(), dark: Zeroizing::new(dark) })
    }

    /// Modules in a side, without margin: 21 to 177.
    #[must_use]
    pub const fn size(&self) -> usize {
        self.size
    }

    /// Whether the module in column `x` of row `y` is dark; everything outside the code is light.
    #[must_use]
    pub fn is_dark(&self, x: usize, y: usize) -> bool {
        x < self.size && self.dark.get(y * self.size + x).copied().unwrap_or(false)
    }

    /// Side of the drawing in modules, with the margin: both extents of an SVG view box for [`Self::path`].
    #[must_use]
    pub const fn extent(&self) -> usize {
        self.size + 2 * MARGIN
    }

    /// The dark modules as the `d` of one SVG path, one unit a module, already moved in by the margin. Each row's dark
    /// runs are one rectangle each, so that no hairline shows between modules.
    #[must_use]
    pub fn path(&self) -> Zeroizing<String> {
        let mut path = Zeroizing::new(String::with_capacity(self.size * self.size * 5));
        for y in 0..self.size {
            let mut x = 0;
            while x < self.size {
                let run = (x..self.size).take_while(|&at| self.is_dark(at, y)).count();
                if run > 0 {
                    // Writing to a String cannot fail.
                    let _ = write!(path, "M{} {}h{run}v1h-{run}z", x + MARGIN, y + MARGIN);
                }
                x += run.max(1);
            }
        }
        path
    }

    /// A whole SVG image: black on white in every colour scheme, for many readers do not know the inverse.
    #[must_use]
    pub fn svg(&self) -> Zeroizing<String> {
        Zeroizing::new(format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {0} {0}\" shape-rendering=\"crispEdges\">\
             <path fill=\"#fff\" d=\"M0 0h{0}v{0}H0z\"/><path d=\"{1}\"/></svg>",
            self.extent(),
            self.path().as_str()
        ))
    }
}
