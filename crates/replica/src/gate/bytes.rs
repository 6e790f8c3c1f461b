//! Reading numbers and runs from bytes that nobody vouches for. Nothing here sizes a buffer by a number that was read,
//! and nothing yields more items than a bound.

use super::Refusal;

/// Bytes that are read from the front.
#[derive(Debug, Clone, Copy)]
pub(super) struct Cursor<'b> {
    rest: &'b [u8],
}

const ENDS: Refusal = Refusal::Malformed("it ends too soon");
const NUMBER: Refusal = Refusal::Malformed("a number is too large, or not written in its shortest form");

impl<'b> Cursor<'b> {
    pub(super) const fn new(rest: &'b [u8]) -> Self {
        Self { rest }
    }

    pub(super) const fn is_empty(&self) -> bool {
        self.rest.is_empty()
    }

    pub(super) const fn rest(&self) -> &'b [u8] {
        self.rest
    }

    pub(super) fn take(&mut self, count: usize) -> Result<&'b [u8], Refusal> {
        let (taken, rest) = self.rest.split_at_checked(count).ok_or(ENDS)?;
        self.rest = rest;
        Ok(taken)
    }

    pub(super) fn array<const N: usize>(&mut self) -> Result<[u8; N], Refusal> {
        self.take(N)?.try_into().map_err(|_| ENDS)
    }

    pub(super) fn byte(&mut self) -> Result<u8, Refusal> {
        let [byte] = self.array()?;
        Ok(byte)
    }

    /// An unsigned LEB128 number.
    pub(super) fn number(&mut self) -> Result<u64, Refusal> {
        let mut value = 0_u64;
        for at in 0..10 {
            let byte = self.byte()?;
            let bits = u64::from(byte & 0x7f);
            if at == 9 && bits > 1 {
                return Err(NUMBER);
            }
            value |= bits << (7 * at);
            if byte & 0x80 == 0 {
                return if byte == 0 && at > 0 { Err(NUMBER) } else { Ok(value) };
            }
        }
        Err(NUMBER)
    }

    /// A signed LEB128 number.
    pub(super) fn signed(&mut self) -> Result<i64, Refusal> {
        let mut value = 0_i128;
        for at in 0..10 {
            let byte = self.byte()?;
            value |= i128::from(byte & 0x7f) << (7 * at);
            if byte & 0x80 == 0 {
                if byte & 0x40 != 0 {
                    value -= 1_i128 << (7 * (at + 1));
                }
                return i64::try_from(value).map_err(|_| NUMBER);
            }
        }
        Err(NUMBER)
    }

    /// A number that says how many bytes or items follow: never more than there are bytes left, where each takes one.
    pub(super) fn count(&mut self) -> Result<usize, Refusal> {
        let count = usize::try_from(self.number()?).map_err(|_| ENDS)?;
        if count > self.rest.len() { Err(ENDS) } else { Ok(count) }
    }

    /// Bytes with their length before them.
    pub(super) fn prefixed(&mut self) -> Result<&'b [u8], Refusal> {
        let count = self.count()?;
        self.take(count)
    }

    pub(super) fn text(&mut self) -> Result<&'b str, Refusal> {
        std::str::from_utf8(self.prefixed()?).map_err(|_| Refusal::Malformed("a text is not UTF-8"))
    }
}

/// What a run-length column holds.
pub(super) trait Item<'b>: Copy {
    fn read(cursor: &mut Cursor<'b>) -> Result<Self, Refusal>;
}

impl<'b> Item<'b> for u64 {
    fn read(cursor: &mut Cursor<'b>) -> Result<Self, Refusal> {
        cursor.number()
    }
}

impl<'b> Item<'b> for i64 {
    fn read(cursor: &mut Cursor<'b>) -> Result<Self, Refusal> {
        cursor.signed()
    }
}

impl<'b> Item<'b> for &'b str {
    fn read(cursor: &mut Cursor<'b>) -> Result<Self, Refusal> {
        cursor.text()
    }
}

#[derive(Debug, Clone, Copy)]
enum Run<T> {
    Same(T, u64),
    Nulls(u64),
    Literal(u64),
}

/// A run-length column, an item at a time. Past its end everything is null.
#[derive(Debug, Clone)]
pub(super) struct Runs<'b, T> {
    cursor: Cursor<'b>,
    run: Run<T>,
}

impl<'b, T: Item<'b>> Runs<'b, T> {
    pub(super) const fn new(column: &'b [u8]) -> Self {
        Self { cursor: Cursor::new(column), run: Run::Nulls(0) }
    }

    /// Whether the column has no more items.
    pub(super) const fn is_done(&self) -> bool {
        let left = match &self.run {
            Run::Same(_, left) | Run::Nulls(left) | Run::Literal(left) => *left,
        };
        left == 0 && self.cursor.is_empty()
    }

    pub(super) fn next(&mut self) -> Result<Option<T>, Refusal> {
        loop {
            match &mut self.run {
                Run::Same(item, left) if *left > 0 => {
                    *left -= 1;
                    return Ok(Some(*item));
                }
                Run::Nulls(left) if *left > 0 => {
                    *left -= 1;
                    return Ok(None);
                }
                Run::Literal(left) if *left > 0 => {
                    *left -= 1;
                    return T::read(&mut self.cursor).map(Some);
                }
                _ if self.cursor.is_empty() => return Ok(None),
                _ => self.run = self.start()?,
            }
        }
    }

    fn start(&mut self) -> Result<Run<T>, Refusal> {
        match self.cursor.signed()? {
            0 => match self.cursor.number()? {
                0 => Err(Refusal::Malformed("a run of no items")),
                nulls => Ok(Run::Nulls(nulls)),
            },
            same if same > 0 => Ok(Run::Same(T::read(&mut self.cursor)?, same.unsigned_abs())),
            literal => Ok(Run::Literal(literal.unsigned_abs())),
        }
    }

    /// How many items a column holds, without making any; at most `most`.
    pub(super) fn count(column: &'b [u8], most: u64) -> Result<u64, Refusal> {
        let mut runs = Self::new(column);
        let mut sum = 0_u64;
        while !runs.cursor.is_empty() {
            let run = runs.start()?;
            let (Run::Same(_, items) | Run::Nulls(items) | Run::Literal(items)) = run;
            sum = sum.checked_add(items).filter(|sum| *sum <= most).ok_or(Refusal::TooManyOperations)?;
            if let Run::Literal(items) = run {
                for _ in 0..items {
                    T::read(&mut runs.cursor)?;
                }
            }
        }
        Ok(sum)
    }
}

/// A column of booleans: runs of false and true by turns. Past its end everything is false.
#[derive(Debug, Clone)]
pub(super) struct Booleans<'b> {
    cursor: Cursor<'b>,
    value: bool,
    left: u64,
}

impl<'b> Booleans<'b> {
    pub(super) const fn new(column: &'b [u8]) -> Self {
        Self { cursor: Cursor::new(column), value: true, left: 0 }
    }

    pub(super) const fn is_done(&self) -> bool {
        self.left == 0 && self.cursor.is_empty()
    }

    pub(super) fn next(&mut self) -> Result<bool, Refusal> {
        while self.left == 0 {
            if self.cursor.is_empty() {
                return Ok(false);
            }
            self.left = self.cursor.number()?;
            self.value = !self.value;
        }
        self.left -= 1;
        Ok(self.value)
    }

    /// How many items a column holds; at most `most`.
    pub(super) fn count(column: &'b [u8], most: u64) -> Result<u64, Refusal> {
        let mut cursor = Cursor::new(column);
        let mut sum = 0_u64;
        while !cursor.is_empty() {
            sum = sum.checked_add(cursor.number()?).filter(|sum| *sum <= most).ok_or(Refusal::TooManyOperations)?;
        }
        Ok(sum)
    }
}

/// A column of differences; past its end everything is null.
#[derive(Debug, Clone)]
pub(super) struct Deltas<'b> {
    runs: Runs<'b, i64>,
    sum: i64,
}

impl<'b> Deltas<'b> {
    pub(super) const fn new(column: &'b [u8]) -> Self {
        Self { runs: Runs::new(column), sum: 0 }
    }

    pub(super) const fn is_done(&self) -> bool {
        self.runs.is_done()
    }

    pub(super) fn next(&mut self) -> Result<Option<u64>, Refusal> {
        let Some(step) = self.runs.next()? else { return Ok(None) };
        self.sum = self.sum.checked_add(step).ok_or(NUMBER)?;
        u64::try_from(self.sum).map(Some).map_err(|_| NUMBER)
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn numbers() {
        for (bytes, value) in [(&[0][..], Some(0)), (&[0xff, 1], Some(255)), (&[0x80, 0], None), (&[0x80], None)] {
            assert_eq!(Cursor::new(bytes).number().ok(), value, "{bytes:?}");
        }
        for (bytes, value) in [(&[0x7f][..], Some(-1)), (&[0x3f], Some(63)), (&[0xc0, 0], Some(64))] {
            assert_eq!(Cursor::new(bytes).signed().ok(), value, "{bytes:?}");
        }
    }

    #[test]
    fn a_run_that_never_ends_is_only_counted() {
        // 2^55 times the number 7, in nine bytes.
        let endless = [0x80, 0x80, 0x80, 0x80, 0x80, 0x80, 0x80, 0x80, 1, 7];
        assert_eq!(Runs::<u64>::count(&endless, 1000), Err(Refusal::TooManyOperations));
    }

    proptest! {
        #[test]
        fn any_bytes_are_read_or_refused(bytes in prop::collection::vec(any::<u8>(), 0..40)) {
            let _ = (Runs::<u64>::count(&bytes, 100), Runs::<&str>::count(&bytes, 100), Booleans::count(&bytes, 100));
            let (mut runs, mut booleans, mut deltas) =
                (Runs::<&str>::new(&bytes), Booleans::new(&bytes), Deltas::new(&bytes));
            for _ in 0..100 {
                let _ = (runs.next().is_ok(), booleans.next().is_ok(), deltas.next().is_ok());
            }
        }
    }
}
