//! Physical dimensions: what a quantity is made of, before its meaning.
//!
//! Purpose: exact arithmetic on the exponents of length, mass, time, temperature and angle.
//! Invariants: exponents are kept as whole sixths, so square and cube roots are exact; every operation that could leave
//! the range of the store answers `None` instead of wrapping.
//! Not here: what a quantity *means* (see [`crate::Kind`]); angle is a dimension of its own so that revolutions, radians
//! and hertz cannot be mixed up by a factor 2π.

use std::fmt;

/// How many base dimensions are tracked.
const AXES: usize = 5;
/// Words for the base dimensions, in storage order.
const WORDS: [&str; AXES] = ["length", "mass", "time", "temperature", "angle"];
/// SI unit symbols of the base dimensions, in storage order.
const SI_SYMBOLS: [&str; AXES] = ["m", "kg", "s", "K", "rad"];
/// Exponents are stored as this fraction of one.
const SIXTHS: i8 = 6;

/// Exponents of length, mass, time, temperature and angle, each a rational number in sixths within ±21.
///
/// ```
/// use cutwater_quantity::Dimension;
/// let speed = Dimension::LENGTH.div(Dimension::TIME).unwrap();
/// assert_eq!(speed.to_string(), "length/time");
/// ```
#[derive(Copy, Clone, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Dimension([i8; AXES]);

impl Dimension {
    /// No dimension: a plain number.
    pub const NONE: Self = Self::whole(0, 0, 0, 0, 0);
    /// Length.
    pub const LENGTH: Self = Self::whole(1, 0, 0, 0, 0);
    /// Mass.
    pub const MASS: Self = Self::whole(0, 1, 0, 0, 0);
    /// Time.
    pub const TIME: Self = Self::whole(0, 0, 1, 0, 0);
    /// Temperature.
    pub const TEMPERATURE: Self = Self::whole(0, 0, 0, 1, 0);
    /// Plane angle.
    pub const ANGLE: Self = Self::whole(0, 0, 0, 0, 1);

    /// A dimension with whole exponents, in the order length, mass, time, temperature, angle.
    pub const fn whole(length: i8, mass: i8, time: i8, temperature: i8, angle: i8) -> Self {
        Self([
            length * SIXTHS,
            mass * SIXTHS,
            time * SIXTHS,
            temperature * SIXTHS,
            angle * SIXTHS,
        ])
    }

    /// A dimension with exponents given in sixths, in the order length, mass, time, temperature, angle.
    pub const fn sixths(exponents: [i8; AXES]) -> Self {
        Self(exponents)
    }

    /// The exponents in sixths, in the order length, mass, time, temperature, angle.
    pub const fn as_sixths(self) -> [i8; AXES] {
        self.0
    }

    /// True for a plain number.
    pub fn is_none(self) -> bool {
        self == Self::NONE
    }

    /// The dimension of a product; `None` when an exponent would leave the range ±21.
    // The names are those of the trade (dimension algebra), not the operator traits, because these can fail.
    #[allow(clippy::should_implement_trait)]
    pub fn mul(self, other: Self) -> Option<Self> {
        self.zip(other, i8::checked_add)
    }

    /// The dimension of a quotient; `None` when an exponent would leave the range ±21.
    #[allow(clippy::should_implement_trait)]
    pub fn div(self, other: Self) -> Option<Self> {
        self.zip(other, i8::checked_sub)
    }

    /// The dimension of a power `num/den`; `None` when an exponent is not a whole number of sixths, leaves ±21, or `den` is 0.
    pub fn powf(self, num: i32, den: i32) -> Option<Self> {
        if den == 0 {
            return None;
        }
        let mut out = [0i8; AXES];
        for (slot, exponent) in out.iter_mut().zip(self.0) {
            let scaled = i64::from(exponent) * i64::from(num);
            if scaled % i64::from(den) != 0 {
                return None;
            }
            *slot = i8::try_from(scaled / i64::from(den)).ok()?;
        }
        Some(Self(out))
    }

    fn zip(self, other: Self, op: fn(i8, i8) -> Option<i8>) -> Option<Self> {
        let mut out = [0i8; AXES];
        for (slot, (a, b)) in out.iter_mut().zip(self.0.into_iter().zip(other.0)) {
            *slot = op(a, b)?;
        }
        Some(Self(out))
    }

    /// The coherent SI unit of this dimension, written so that it can be read back as a unit: `kg/(m·s²)`. A plain number gives `1`.
    pub fn si_symbol(self) -> String {
        self.render(&SI_SYMBOLS, "1")
    }

    /// What must be multiplied in to get from `given` to this dimension, in words: `needs one more length`,
    /// `has one time too many`. `None` when the two agree or the difference is too tangled to help (more than two base
    /// dimensions, or a broken exponent).
    pub fn gap_words(self, given: Self) -> Option<String> {
        let gap = self.div(given)?;
        let mut parts = Vec::new();
        for (word, exponent) in WORDS.iter().zip(gap.0) {
            if exponent == 0 {
                continue;
            }
            if exponent % SIXTHS != 0 {
                return None;
            }
            let n = exponent / SIXTHS;
            let count = match n.unsigned_abs() {
                1 => "one",
                2 => "two",
                3 => "three",
                4 => "four",
                _ => return None,
            };
            let plural = if n.unsigned_abs() == 1 { "" } else { "s" };
            parts.push(if n > 0 {
                format!("needs {count} more {word}{plural}")
            } else {
                format!("has {count} {word}{plural} too many")
            });
        }
        (!parts.is_empty() && parts.len() <= 2).then(|| parts.join(" and "))
    }

    fn render(self, names: &[&str; AXES], none: &str) -> String {
        let factor = |name: &str, sixths: i8| match sixths {
            SIXTHS => name.to_owned(),
            n if n % SIXTHS == 0 => format!("{name}{}", superscript(i32::from(n / SIXTHS))),
            n => {
                let (mut num, mut den) = (n, SIXTHS);
                for prime in [2, 3] {
                    if num % prime == 0 && den % prime == 0 {
                        num /= prime;
                        den /= prime;
                    }
                }
                format!("{name}^({num}/{den})")
            }
        };
        // Mass before length reads as the field writes it: kg/(m·s²).
        const ORDER: [usize; AXES] = [1, 0, 2, 3, 4];
        let over: Vec<String> = ORDER
            .iter()
            .filter(|&&i| self.0[i] > 0)
            .map(|&i| factor(names[i], self.0[i]))
            .collect();
        let under: Vec<String> = ORDER
            .iter()
            .filter(|&&i| self.0[i] < 0)
            .map(|&i| factor(names[i], -self.0[i]))
            .collect();
        let top = over.join("·");
        match (over.is_empty(), under.len()) {
            (true, 0) => none.to_owned(),
            (false, 0) => top,
            (empty, n) => {
                let top = if empty { "1".to_owned() } else { top };
                let below = under.join("·");
                if n == 1 {
                    format!("{top}/{below}")
                } else {
                    format!("{top}/({below})")
                }
            }
        }
    }
}

/// A whole exponent in superscript digits; 1 gives the empty text.
pub(crate) fn superscript(n: i32) -> String {
    if n == 1 {
        return String::new();
    }
    n.to_string()
        .chars()
        .map(|c| match c {
            '-' => '⁻',
            '1' => '¹',
            '2' => '²',
            '3' => '³',
            // U+2070 and U+2074..U+2079 are in a row; the three above are not.
            digit => char::from_u32(0x2070 + (digit as u32 - '0' as u32)).unwrap_or(digit),
        })
        .collect()
}

impl fmt::Display for Dimension {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.render(&WORDS, "no dimension"))
    }
}

impl fmt::Debug for Dimension {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Dimension({self})")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn display_reads_as_words() {
        assert_eq!(Dimension::whole(2, 0, -1, 0, 0).to_string(), "length²/time");
        assert_eq!(
            Dimension::whole(-1, 1, -2, 0, 0).to_string(),
            "mass/(length·time²)"
        );
        assert_eq!(Dimension::whole(0, 0, -1, 0, 0).to_string(), "1/time");
        assert_eq!(Dimension::NONE.to_string(), "no dimension");
        assert_eq!(
            Dimension::sixths([21, -3, 0, 0, 0]).to_string(),
            "length^(7/2)/mass^(1/2)"
        );
    }

    #[test]
    fn roots_are_exact_or_refused() {
        let area = Dimension::whole(2, 0, 0, 0, 0);
        assert_eq!(area.powf(1, 2), Some(Dimension::LENGTH));
        assert_eq!(
            Dimension::LENGTH.powf(1, 3),
            Some(Dimension::sixths([2, 0, 0, 0, 0]))
        );
        assert_eq!(Dimension::LENGTH.powf(1, 5), None);
        assert_eq!(Dimension::LENGTH.powf(1, 0), None);
        assert_eq!(Dimension::LENGTH.powf(22, 1), None);
        assert_eq!(Dimension::LENGTH.powf(i32::MIN, -1), None);
    }

    #[test]
    fn gap_is_said_in_words() {
        let area = Dimension::whole(2, 0, 0, 0, 0);
        assert_eq!(
            area.gap_words(Dimension::LENGTH).as_deref(),
            Some("needs one more length")
        );
        assert_eq!(
            Dimension::LENGTH.gap_words(area).as_deref(),
            Some("has one length too many")
        );
        assert_eq!(area.gap_words(area), None);
    }
}
