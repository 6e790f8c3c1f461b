//! Exact numbers: a kitchen's halves and thirds, scaled and summed without rounding.

use std::cmp::Ordering;
use std::fmt;
use std::iter::Sum;
use std::ops::{Add, Div, Mul, Neg, Sub};
use std::str::FromStr;

/// A rational number with a positive denominator, always in lowest terms.
///
/// Arithmetic never panics. It is exact while numerator and denominator fit 127 bits, which holds for anything a
/// kitchen weighs; past that a result is rounded to nine decimals rather than lost. Dividing by nothing gives nothing
/// ([`Exact::ZERO`]); whoever divides checks first where that would be wrong.
///
/// ```
/// use trug_measure::Exact;
/// let third = Exact::new(1, 3);
/// assert_eq!(third + third + third, Exact::ONE);
/// assert_eq!("2.5".parse(), Ok(Exact::new(5, 2)));
/// ```
#[derive(Clone, Copy, PartialEq, Eq, Hash)]
pub struct Exact {
    num: i128,
    den: i128,
}

/// What makes a text no number.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NumberError {
    /// Not digits with at most one point.
    #[error("`{0}` is not a number; write it with digits and a point, such as 2.5")]
    NotANumber(String),
    /// More digits than a kitchen can mean.
    #[error("`{0}` has too many digits; a number has at most 15 before the point and 12 after it")]
    TooLong(String),
}

impl Exact {
    /// Nothing.
    pub const ZERO: Self = Self { num: 0, den: 1 };
    /// One.
    pub const ONE: Self = Self { num: 1, den: 1 };

    /// `num` / `den`; nothing where `den` is 0.
    #[must_use]
    pub const fn new(num: i128, den: i128) -> Self {
        if den == 0 || num == 0 {
            return Self::ZERO;
        }
        let (Some(positive_num), Some(positive_den)) = (num.checked_abs(), den.checked_abs()) else {
            return Self::ZERO;
        };
        let common = gcd(positive_num as u128, positive_den as u128) as i128;
        let sign = if (num < 0) == (den < 0) { 1 } else { -1 };
        Self { num: sign * divided(positive_num, common), den: divided(positive_den, common) }
    }

    /// A whole number.
    #[must_use]
    pub const fn whole(value: i64) -> Self {
        Self { num: value as i128, den: 1 }
    }

    /// The numerator, in lowest terms; it carries the sign.
    #[must_use]
    pub const fn numerator(self) -> i128 {
        self.num
    }

    /// The denominator, in lowest terms; always positive.
    #[must_use]
    pub const fn denominator(self) -> i128 {
        self.den
    }

    /// Whether it is nothing.
    #[must_use]
    pub const fn is_zero(self) -> bool {
        self.num == 0
    }

    /// Whether it is more than nothing.
    #[must_use]
    pub const fn is_positive(self) -> bool {
        self.num > 0
    }

    /// Whether it has no fraction.
    #[must_use]
    pub const fn is_whole(self) -> bool {
        self.den == 1
    }

    /// The nearest double: for showing, never for reckoning on.
    #[must_use]
    pub fn to_f64(self) -> f64 {
        self.num as f64 / self.den as f64
    }

    /// The nearest number with nine decimals to a double; nothing where it is not a number.
    #[must_use]
    pub fn from_f64(value: f64) -> Self {
        const NANO: f64 = 1e9;
        // A cast from float to integer saturates, and takes "not a number" to 0.
        Self::new((value * NANO).round() as i64 as i128, NANO as i128)
    }

    /// The greatest whole number that is not above it.
    #[must_use]
    pub const fn floor(self) -> i128 {
        self.num.div_euclid(self.den)
    }

    /// The least whole number that is not below it.
    #[must_use]
    pub const fn ceil(self) -> i128 {
        -(-self.num).div_euclid(self.den)
    }

    /// The nearest whole number; a half goes away from zero, as money is rounded in trade.
    #[must_use]
    pub fn round(self) -> i128 {
        let size = if self.num < 0 { -self } else { self };
        let nearest = (size + Self { num: 1, den: 2 }).floor();
        if self.num < 0 { -nearest } else { nearest }
    }

    /// The nearest number with that many decimals, as a double that prints so.
    #[must_use]
    pub fn to_decimals(self, places: u32) -> f64 {
        let scale = 10_i128.pow(places.min(12));
        (self * Self { num: scale, den: 1 }).round() as f64 / scale as f64
    }

    /// The least multiple of `step` that is not below it; itself where `step` is not positive.
    #[must_use]
    pub fn ceil_to(self, step: Self) -> Self {
        if !step.is_positive() {
            return self;
        }
        Self::new((self / step).ceil(), 1) * step
    }

    /// Past the exact range: the same operation on doubles, to nine decimals.
    fn rounded(self, other: Self, op: impl Fn(f64, f64) -> f64) -> Self {
        Self::from_f64(op(self.to_f64(), other.to_f64()))
    }

    fn checked_add(self, other: Self) -> Option<Self> {
        if self.den == 1 && other.den == 1 {
            return Some(Self { num: self.num.checked_add(other.num)?, den: 1 });
        }
        if self.den == other.den {
            return Some(Self::new(self.num.checked_add(other.num)?, self.den));
        }
        let common = gcd(self.den as u128, other.den as u128) as i128;
        let (own, others) = (divided(self.den, common), divided(other.den, common));
        let left = self.num.checked_mul(others)?;
        let right = other.num.checked_mul(own)?;
        Some(Self::new(left.checked_add(right)?, self.den.checked_mul(others)?))
    }

    fn checked_mul(self, other: Self) -> Option<Self> {
        if self.den == 1 && other.den == 1 {
            return Some(Self { num: self.num.checked_mul(other.num)?, den: 1 });
        }
        let first = gcd(self.num.unsigned_abs(), other.den as u128) as i128;
        let second = gcd(other.num.unsigned_abs(), self.den as u128) as i128;
        let (first, second) = (first.max(1), second.max(1));
        let num = divided(self.num, first).checked_mul(divided(other.num, second))?;
        let den = divided(self.den, second).checked_mul(divided(other.den, first))?;
        Some(if num == 0 { Self::ZERO } else { Self { num, den } })
    }

    fn inverse(self) -> Self {
        Self::new(self.den, self.num)
    }
}

/// The greatest common divisor. Nearly all kitchen figures fit 64 bits, where the machine divides in one step.
const fn gcd(a: u128, b: u128) -> u128 {
    let (mut a, mut b) = (a, b);
    while b != 0 {
        if a <= u64::MAX as u128 && b <= u64::MAX as u128 {
            return gcd_small(a as u64, b as u64) as u128;
        }
        (a, b) = (b, a % b);
    }
    a
}

/// The binary form: shifts and subtractions, no divisions.
const fn gcd_small(a: u64, b: u64) -> u64 {
    if a == 0 || b == 0 {
        return a | b;
    }
    if a == 1 || b == 1 {
        return 1;
    }
    let twos = (a | b).trailing_zeros();
    let (mut a, mut b) = (a >> a.trailing_zeros(), b >> b.trailing_zeros());
    while a != b {
        if a > b {
            (a, b) = (b, a);
        }
        b -= a;
        b >>= b.trailing_zeros();
    }
    a << twos
}

/// Divides where there is no remainder; in 64 bits where both fit, which is many times as fast.
const fn divided(value: i128, by: i128) -> i128 {
    if by == 1 {
        value
    } else if value == value as i64 as i128 && by == by as i64 as i128 {
        (value as i64 / by as i64) as i128
    } else {
        value / by
    }
}

impl Add for Exact {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        self.checked_add(other).unwrap_or_else(|| self.rounded(other, |a, b| a + b))
    }
}

impl Sub for Exact {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        self + -other
    }
}

impl Mul for Exact {
    type Output = Self;
    fn mul(self, other: Self) -> Self {
        self.checked_mul(other).unwrap_or_else(|| self.rounded(other, |a, b| a * b))
    }
}

impl Div for Exact {
    type Output = Self;
    #[allow(clippy::suspicious_arithmetic_impl, reason = "to divide by a fraction is to multiply by its inverse")]
    fn div(self, other: Self) -> Self {
        self * other.inverse()
    }
}

impl Neg for Exact {
    type Output = Self;
    fn neg(self) -> Self {
        Self { num: -self.num, den: self.den }
    }
}

impl Sum for Exact {
    fn sum<I: Iterator<Item = Self>>(iter: I) -> Self {
        iter.fold(Self::ZERO, Add::add)
    }
}

impl Ord for Exact {
    fn cmp(&self, other: &Self) -> Ordering {
        if self.den == other.den {
            return self.num.cmp(&other.num);
        }
        match (self.num.checked_mul(other.den), other.num.checked_mul(self.den)) {
            (Some(left), Some(right)) => left.cmp(&right),
            _ => self.to_f64().total_cmp(&other.to_f64()),
        }
    }
}

impl PartialOrd for Exact {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl Default for Exact {
    fn default() -> Self {
        Self::ZERO
    }
}

impl From<u32> for Exact {
    fn from(value: u32) -> Self {
        Self::whole(i64::from(value))
    }
}

/// The shortest decimal writing where there is one of at most nine decimals, else nine decimals.
impl fmt::Display for Exact {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.is_whole() {
            return write!(f, "{}", self.num);
        }
        let text = format!("{:.9}", self.to_f64());
        f.write_str(text.trim_end_matches('0').trim_end_matches('.'))
    }
}

impl fmt::Debug for Exact {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.is_whole() { write!(f, "{}", self.num) } else { write!(f, "{}/{}", self.num, self.den) }
    }
}

/// Reads a decimal number such as `12`, `-0.5` or `.5`; no exponents, no separators.
impl FromStr for Exact {
    type Err = NumberError;

    fn from_str(text: &str) -> Result<Self, NumberError> {
        let trimmed = text.trim();
        let (negative, digits) = trimmed.strip_prefix('-').map_or((false, trimmed), |rest| (true, rest));
        let (whole, fraction) = digits.split_once('.').unwrap_or((digits, ""));
        let plain = |part: &str| part.bytes().all(|b| b.is_ascii_digit());
        if whole.len() + fraction.len() == 0 || !plain(whole) || !plain(fraction) {
            return Err(NumberError::NotANumber(trimmed.to_owned()));
        }
        if whole.len() > 15 || fraction.len() > 12 {
            return Err(NumberError::TooLong(trimmed.to_owned()));
        }
        let joined = whole.bytes().chain(fraction.bytes()).fold(0_i128, |sum, b| sum * 10 + i128::from(b - b'0'));
        let value = Self::new(joined, 10_i128.pow(fraction.len() as u32));
        Ok(if negative { -value } else { value })
    }
}
