//! The ISO code system for tolerances on linear sizes: what `H7` or `p6` means for a size up to 500 mm.
//!
//! A class is one or two letters, the *fundamental deviation* (how far the tolerance lies from the nominal size; capital
//! letters for holes, small ones for shafts), and a number, the *standard tolerance grade* (how wide it is).
//!
//! Source of every table: ISO 286-1:2010 with Cor. 1:2013, tables 1 to 5 (grades IT01 and IT0: ISO 286-1:1988, annex A,
//! which the 2010 edition leaves out). The tables are data because the standard's values are rounded and are not always
//! what its formulas give. They were written from memory and compared with printed and public tables, which
//! `tests/iso286.rs` names.
//!
//! Invariants: the upper deviation is above the lower one; deviations are exact tenths of a micrometre in the tables and
//! correctly rounded when turned into metres; a size at the edge of a band belongs to the lower band ("over 30 up to and
//! including 50 mm").
//!
//! What it does not do: sizes over 500 mm, general tolerances (ISO 2768), the choice of a fit.

use std::fmt;
use std::str::FromStr;
use thiserror::Error;

/// The largest size of the tables here, mm.
pub const LARGEST: f64 = 500.0;

/// Up to and including, mm: the 13 main bands of ISO 286-1, table 1.
const MAIN: [f64; 13] = [
    3.0, 6.0, 10.0, 18.0, 30.0, 50.0, 80.0, 120.0, 180.0, 250.0, 315.0, 400.0, 500.0,
];

/// Up to and including, mm: the 25 steps of ISO 286-1, tables 2 to 5.
const FINE: [f64; 25] = [
    3.0, 6.0, 10.0, 14.0, 18.0, 24.0, 30.0, 40.0, 50.0, 65.0, 80.0, 100.0, 120.0, 140.0, 160.0,
    180.0, 200.0, 225.0, 250.0, 280.0, 315.0, 355.0, 400.0, 450.0, 500.0,
];

/// Standard tolerances, µm, over the main bands. The first two rows are IT01 and IT0, then IT1 to IT18.
#[rustfmt::skip]
const STANDARD_TOLERANCES: [[f64; 13]; 20] = [
    [0.3, 0.4, 0.4, 0.5, 0.6, 0.6, 0.8, 1.0, 1.2, 2.0, 2.5, 3.0, 4.0],
    [0.5, 0.6, 0.6, 0.8, 1.0, 1.0, 1.2, 1.5, 2.0, 3.0, 4.0, 5.0, 6.0],
    [0.8, 1.0, 1.0, 1.2, 1.5, 1.5, 2.0, 2.5, 3.5, 4.5, 6.0, 7.0, 8.0],
    [1.2, 1.5, 1.5, 2.0, 2.5, 2.5, 3.0, 4.0, 5.0, 7.0, 8.0, 9.0, 10.0],
    [2.0, 2.5, 2.5, 3.0, 4.0, 4.0, 5.0, 6.0, 8.0, 10.0, 12.0, 13.0, 15.0],
    [3.0, 4.0, 4.0, 5.0, 6.0, 7.0, 8.0, 10.0, 12.0, 14.0, 16.0, 18.0, 20.0],
    [4.0, 5.0, 6.0, 8.0, 9.0, 11.0, 13.0, 15.0, 18.0, 20.0, 23.0, 25.0, 27.0],
    [6.0, 8.0, 9.0, 11.0, 13.0, 16.0, 19.0, 22.0, 25.0, 29.0, 32.0, 36.0, 40.0],
    [10.0, 12.0, 15.0, 18.0, 21.0, 25.0, 30.0, 35.0, 40.0, 46.0, 52.0, 57.0, 63.0],
    [14.0, 18.0, 22.0, 27.0, 33.0, 39.0, 46.0, 54.0, 63.0, 72.0, 81.0, 89.0, 97.0],
    [25.0, 30.0, 36.0, 43.0, 52.0, 62.0, 74.0, 87.0, 100.0, 115.0, 130.0, 140.0, 155.0],
    [40.0, 48.0, 58.0, 70.0, 84.0, 100.0, 120.0, 140.0, 160.0, 185.0, 210.0, 230.0, 250.0],
    [60.0, 75.0, 90.0, 110.0, 130.0, 160.0, 190.0, 220.0, 250.0, 290.0, 320.0, 360.0, 400.0],
    [100.0, 120.0, 150.0, 180.0, 210.0, 250.0, 300.0, 350.0, 400.0, 460.0, 520.0, 570.0, 630.0],
    [140.0, 180.0, 220.0, 270.0, 330.0, 390.0, 460.0, 540.0, 630.0, 720.0, 810.0, 890.0, 970.0],
    [250.0, 300.0, 360.0, 430.0, 520.0, 620.0, 740.0, 870.0, 1000.0, 1150.0, 1300.0, 1400.0, 1550.0],
    [400.0, 480.0, 580.0, 700.0, 840.0, 1000.0, 1200.0, 1400.0, 1600.0, 1850.0, 2100.0, 2300.0, 2500.0],
    [600.0, 750.0, 900.0, 1100.0, 1300.0, 1600.0, 1900.0, 2200.0, 2500.0, 2900.0, 3200.0, 3600.0, 4000.0],
    [1000.0, 1200.0, 1500.0, 1800.0, 2100.0, 2500.0, 3000.0, 3500.0, 4000.0, 4600.0, 5200.0, 5700.0, 6300.0],
    [1400.0, 1800.0, 2200.0, 2700.0, 3300.0, 3900.0, 4600.0, 5400.0, 6300.0, 7200.0, 8100.0, 8900.0, 9700.0],
];

/// Not defined at this size.
const NONE: i16 = i16::MIN;

/// Where the fundamental deviations of a letter come from.
#[derive(Clone, Copy)]
enum Row {
    /// Upper deviation of the shaft, µm, over the main bands; the hole's lower deviation is its opposite.
    Above(&'static [i16; 13]),
    /// The same over the fine steps.
    AboveFine(&'static [i16; 25]),
    /// Lower deviation of the shaft, µm, over the main bands; the hole's upper deviation is its opposite, plus Δ in fine
    /// grades.
    Below(&'static [i16; 13]),
    /// The same over the fine steps.
    BelowFine(&'static [i16; 25]),
    /// Symmetrical about the nominal size.
    Symmetrical,
    /// Nearly symmetrical: a table of its own for each grade.
    Nearly,
}

/// Fundamental deviations in the standard's order, with the shaft's spelling.
#[rustfmt::skip]
const LETTERS: [(&str, Row); 28] = [
    ("a", Row::AboveFine(&[-270, -270, -280, -290, -290, -300, -300, -310, -320, -340, -360, -380, -410, -460, -520, -580, -660, -740, -820, -920, -1050, -1200, -1350, -1500, -1650])),
    ("b", Row::AboveFine(&[-140, -140, -150, -150, -150, -160, -160, -170, -180, -190, -200, -220, -240, -260, -280, -310, -340, -380, -420, -480, -540, -600, -680, -760, -840])),
    ("c", Row::AboveFine(&[-60, -70, -80, -95, -95, -110, -110, -120, -130, -140, -150, -170, -180, -200, -210, -230, -240, -260, -280, -300, -330, -360, -400, -440, -480])),
    ("cd", Row::Above(&[-34, -46, -56, -70, -85, -100, NONE, NONE, NONE, NONE, NONE, NONE, NONE])),
    ("d", Row::Above(&[-20, -30, -40, -50, -65, -80, -100, -120, -145, -170, -190, -210, -230])),
    ("e", Row::Above(&[-14, -20, -25, -32, -40, -50, -60, -72, -85, -100, -110, -125, -135])),
    ("ef", Row::Above(&[-10, -14, -18, -23, -28, -35, NONE, NONE, NONE, NONE, NONE, NONE, NONE])),
    ("f", Row::Above(&[-6, -10, -13, -16, -20, -25, -30, -36, -43, -50, -56, -62, -68])),
    ("fg", Row::Above(&[-4, -6, -8, -10, -12, -15, NONE, NONE, NONE, NONE, NONE, NONE, NONE])),
    ("g", Row::Above(&[-2, -4, -5, -6, -7, -9, -10, -12, -14, -15, -17, -18, -20])),
    ("h", Row::Above(&[0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0])),
    ("js", Row::Symmetrical),
    ("j", Row::Nearly),
    ("k", Row::Below(&[0, 1, 1, 1, 2, 2, 2, 3, 3, 4, 4, 4, 5])),
    ("m", Row::Below(&[2, 4, 6, 7, 8, 9, 11, 13, 15, 17, 20, 21, 23])),
    ("n", Row::Below(&[4, 8, 10, 12, 15, 17, 20, 23, 27, 31, 34, 37, 40])),
    ("p", Row::Below(&[6, 12, 15, 18, 22, 26, 32, 37, 43, 50, 56, 62, 68])),
    ("r", Row::BelowFine(&[10, 15, 19, 23, 23, 28, 28, 34, 34, 41, 43, 51, 54, 63, 65, 68, 77, 80, 84, 94, 98, 108, 114, 126, 132])),
    ("s", Row::BelowFine(&[14, 19, 23, 28, 28, 35, 35, 43, 43, 53, 59, 71, 79, 92, 100, 108, 122, 130, 140, 158, 170, 190, 208, 232, 252])),
    ("t", Row::BelowFine(&[NONE, NONE, NONE, NONE, NONE, NONE, 41, 48, 54, 66, 75, 91, 104, 122, 134, 146, 166, 180, 196, 218, 240, 268, 294, 330, 360])),
    ("u", Row::BelowFine(&[18, 23, 28, 33, 33, 41, 48, 60, 70, 87, 102, 124, 144, 170, 190, 210, 236, 258, 284, 315, 350, 390, 435, 490, 540])),
    ("v", Row::BelowFine(&[NONE, NONE, NONE, NONE, 39, 47, 55, 68, 81, 102, 120, 146, 172, 202, 228, 252, 284, 310, 340, 385, 425, 475, 530, 595, 660])),
    ("x", Row::BelowFine(&[20, 28, 34, 40, 45, 54, 64, 80, 97, 122, 146, 178, 210, 248, 280, 310, 350, 385, 425, 475, 525, 590, 660, 740, 820])),
    ("y", Row::BelowFine(&[NONE, NONE, NONE, NONE, NONE, 63, 75, 94, 114, 144, 174, 214, 254, 300, 340, 380, 425, 470, 520, 580, 650, 730, 820, 920, 1000])),
    ("z", Row::BelowFine(&[26, 35, 42, 50, 60, 73, 88, 112, 136, 172, 210, 258, 310, 365, 415, 465, 520, 575, 640, 710, 790, 900, 1000, 1100, 1250])),
    ("za", Row::BelowFine(&[32, 42, 52, 64, 77, 98, 118, 148, 180, 226, 274, 335, 400, 470, 535, 600, 670, 740, 820, 920, 1000, 1150, 1300, 1450, 1600])),
    ("zb", Row::BelowFine(&[40, 50, 67, 90, 108, 136, 160, 200, 242, 300, 360, 445, 525, 620, 700, 780, 880, 960, 1050, 1200, 1300, 1500, 1650, 1850, 2100])),
    ("zc", Row::BelowFine(&[60, 80, 97, 130, 150, 188, 218, 274, 325, 405, 480, 585, 690, 800, 900, 1000, 1150, 1250, 1350, 1550, 1700, 1900, 2100, 2400, 2600])),
];

/// Lower deviation of shafts j, µm, by grade, over the main bands.
const SHAFT_J: [(i8, [i16; 13]); 4] = [
    (5, [-2, -2, -2, -3, -4, -5, -7, -9, -11, -13, -16, -18, -20]),
    (6, [-2, -2, -2, -3, -4, -5, -7, -9, -11, -13, -16, -18, -20]),
    (
        7,
        [-4, -4, -5, -6, -8, -10, -12, -15, -18, -21, -26, -28, -32],
    ),
    (
        8,
        [
            -6, NONE, NONE, NONE, NONE, NONE, NONE, NONE, NONE, NONE, NONE, NONE, NONE,
        ],
    ),
];

/// Upper deviation of holes J, µm, by grade, over the main bands.
const HOLE_J: [(i8, [i16; 13]); 3] = [
    (6, [2, 5, 5, 6, 8, 10, 13, 16, 18, 22, 25, 29, 33]),
    (7, [4, 6, 8, 10, 12, 14, 18, 22, 26, 30, 36, 39, 43]),
    (8, [6, 10, 12, 15, 20, 24, 28, 34, 41, 47, 55, 60, 66]),
];

/// What a class is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Feature {
    /// An inside size: a bore, a keyway. Capital letters.
    Hole,
    /// An outside size: a shaft, a key. Small letters.
    Shaft,
}

impl Feature {
    /// The standard's word: `hole` or `shaft`.
    pub fn word(self) -> &'static str {
        match self {
            Self::Hole => "hole",
            Self::Shaft => "shaft",
        }
    }
}

/// A standard tolerance grade, IT01 to IT18.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Grade(i8);

impl Grade {
    /// Every grade, finest first.
    pub fn all() -> impl Iterator<Item = Self> {
        (-1..=18).map(Self)
    }

    /// The standard tolerance in µm for a size in mm; `None` where the standard gives none (sizes that are not above 0 and
    /// up to 500 mm; IT14 and coarser up to 1 mm).
    pub fn standard_tolerance(self, size_mm: f64) -> Option<f64> {
        if self.0 >= 14 && at_most(size_mm, 1.0) {
            return None;
        }
        let band = band(&MAIN, size_mm)?;
        STANDARD_TOLERANCES
            .get(usize::try_from(self.0 + 1).ok()?)
            .map(|row| row[band])
    }

    /// Reads `7`, `0` or `01`.
    fn parse(text: &str) -> Option<Self> {
        Self::all().find(|grade| grade.to_string() == text)
    }
}

impl fmt::Display for Grade {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.0 < 0 {
            f.write_str("01")
        } else {
            write!(f, "{}", self.0)
        }
    }
}

/// A tolerance class such as `H7`.
///
/// ```
/// use cutwater_mechanics::iso286::Class;
/// let bore: Class = "H7".parse().unwrap();
/// let limits = bore.deviations(0.045).unwrap();
/// assert_eq!((limits.upper, limits.lower), (0.000025, 0.0));
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Class {
    feature: Feature,
    /// Place in [`LETTERS`].
    letter: usize,
    grade: Grade,
}

/// Limit deviations from the nominal size.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Deviations {
    /// Upper limit deviation (ES or es), m, signed.
    pub upper: f64,
    /// Lower limit deviation (EI or ei), m, signed.
    pub lower: f64,
}

/// Why there are no limits.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum Iso286Error {
    /// The text is not one or two letters and a number.
    #[error(
        "`{text}` is not a tolerance class; one is a letter or two and a grade, as `H7` or `js6`"
    )]
    Form {
        /// The text.
        text: String,
    },
    /// Capital and small letters in one class.
    #[error(
        "`{text}` mixes capital and small letters; holes have capital letters, shafts small ones"
    )]
    MixedCase {
        /// The text.
        text: String,
    },
    /// No fundamental deviation has this letter.
    #[error("there is no tolerance class `{text}`: no fundamental deviation is called `{letter}`")]
    Letter {
        /// The text.
        text: String,
        /// Its letters.
        letter: String,
    },
    /// No standard tolerance grade has this number.
    #[error("there is no tolerance class `{text}`: the grades are 01, 0 and 1 to 18, not {grade}")]
    Grade {
        /// The text.
        text: String,
        /// Its number.
        grade: String,
    },
    /// The letter exists, but not with this grade.
    #[error("there is no tolerance class `{class}`: {letter} has the grades {grades}")]
    GradeOfLetter {
        /// The class.
        class: Class,
        /// Its letters.
        letter: String,
        /// The grades it has, in words.
        grades: &'static str,
    },
    /// The size is not above zero, or above 500 mm.
    #[error("tolerance classes are tabled for sizes above 0 up to 500 mm, not {size_mm} mm")]
    Size {
        /// The size, mm.
        size_mm: f64,
    },
    /// The class exists, but not at this size.
    #[error("`{class}` is not defined for {size_mm} mm: {reason}")]
    NotForSize {
        /// The class.
        class: Class,
        /// The size, mm.
        size_mm: f64,
        /// For which sizes it is defined, in words.
        reason: String,
    },
}

/// `size <= edge`, with what conversion between units may have added.
fn at_most(size: f64, edge: f64) -> bool {
    size <= edge * (1.0 + 4.0 * f64::EPSILON)
}

/// The band a size lies in.
fn band(edges: &[f64], size_mm: f64) -> Option<usize> {
    if size_mm > 0.0 {
        edges.iter().position(|edge| at_most(size_mm, *edge))
    } else {
        None
    }
}

/// A cell of a table.
fn cell(row: &[i16], band: usize) -> Option<f64> {
    row.get(band)
        .filter(|um| **um != NONE)
        .map(|um| f64::from(*um))
}

impl Class {
    /// Hole or shaft.
    pub fn feature(self) -> Feature {
        self.feature
    }

    /// The grade.
    pub fn grade(self) -> Grade {
        self.grade
    }

    /// The letters, in the case of the feature: `H`, `js`.
    pub fn letters(self) -> String {
        let (letters, _) = LETTERS[self.letter];
        match self.feature {
            Feature::Hole => letters.to_uppercase(),
            Feature::Shaft => letters.to_owned(),
        }
    }

    /// The same letters and grade for the other feature: `h6` for `H6`.
    #[must_use]
    pub fn mate(self) -> Self {
        let feature = match self.feature {
            Feature::Hole => Feature::Shaft,
            Feature::Shaft => Feature::Hole,
        };
        Self { feature, ..self }
    }

    /// Every class that has limits at some size, holes first, in the standard's order.
    pub fn all() -> impl Iterator<Item = Self> {
        [Feature::Hole, Feature::Shaft]
            .into_iter()
            .flat_map(|feature| {
                (0..LETTERS.len()).flat_map(move |letter| {
                    Grade::all().map(move |grade| Self {
                        feature,
                        letter,
                        grade,
                    })
                })
            })
            .filter(|class| class.grades().is_none())
    }

    /// The class that was surely or probably meant by a text that is none: a digit too many (`H77`), a leading zero
    /// (`H07`), mixed case (`Js7`), exchanged letters (`sj6`), the grade before the letter (`7H`). `None` where nothing is
    /// near.
    pub fn meant_by(text: &str) -> Option<Self> {
        let letters: String = text.chars().filter(|c| !c.is_ascii_digit()).collect();
        let digits: String = text.chars().filter(char::is_ascii_digit).collect();
        let upper = letters.chars().next()?.is_uppercase();
        let cased = |letters: &str| {
            if upper {
                letters.to_uppercase()
            } else {
                letters.to_lowercase()
            }
        };
        let turned: String = letters.chars().rev().collect();
        let trimmed = digits.trim_start_matches('0');
        let shorter = |keep: usize| trimmed.get(..keep).unwrap_or("").to_owned();
        let grades = [digits.clone(), trimmed.to_owned(), shorter(2), shorter(1)];
        [cased(&letters), cased(&turned)]
            .iter()
            .flat_map(|letters| grades.iter().map(move |grade| format!("{letters}{grade}")))
            .filter(|candidate| candidate != text)
            .find_map(|candidate| candidate.parse().ok())
    }

    /// Classes of the same feature and grade that are defined at this size, nearest letter first.
    ///
    /// Letters are compared by their place in the standard's order, so the first is the next tighter or looser fit.
    pub fn near(self, size_mm: f64) -> Vec<Self> {
        let mut out: Vec<Self> = (0..LETTERS.len())
            .filter(|letter| *letter != self.letter)
            .map(|letter| Self { letter, ..self })
            .filter(|class| class.tabled(size_mm).is_some())
            .collect();
        out.sort_by_key(|class| class.letter.abs_diff(self.letter));
        out
    }

    /// The grades this letter is limited to, in words, when this class's grade is not one of them.
    fn grades(self) -> Option<&'static str> {
        let (_, row) = LETTERS[self.letter];
        let grade = self.grade.0;
        match (row, self.feature) {
            (Row::Nearly, Feature::Shaft) if !(5..=8).contains(&grade) => Some("5 to 8"),
            (Row::Nearly, Feature::Hole) if !(6..=8).contains(&grade) => Some("6 to 8"),
            // The standard tables Δ for the grades 3 to 8, and no hole of these letters in a finer grade.
            (Row::Below(_) | Row::BelowFine(_), Feature::Hole) if grade < 3 => Some("3 to 18"),
            _ => None,
        }
    }

    /// Limit deviations, m, of a nominal size in m.
    ///
    /// # Errors
    /// [`Iso286Error::Size`] and [`Iso286Error::NotForSize`].
    pub fn deviations(self, nominal: f64) -> Result<Deviations, Iso286Error> {
        let (upper, lower) = self.micrometres(nominal * 1000.0)?;
        // Dividing rounds once, so that the result is what the same number written in metres is.
        Ok(Deviations {
            upper: upper / 1e6,
            lower: lower / 1e6,
        })
    }

    /// Upper and lower limit deviation, µm, of a nominal size in mm.
    ///
    /// # Errors
    /// [`Iso286Error::Size`] and [`Iso286Error::NotForSize`].
    pub fn micrometres(self, size_mm: f64) -> Result<(f64, f64), Iso286Error> {
        if band(&MAIN, size_mm).is_none() {
            return Err(Iso286Error::Size { size_mm });
        }
        self.tabled(size_mm).ok_or_else(|| Iso286Error::NotForSize {
            class: self,
            size_mm,
            reason: match self.defined_sizes() {
                Some((over, to)) if over > 0.0 && to < LARGEST => {
                    format!("it is for sizes over {over} up to {to} mm")
                }
                Some((over, _)) if over > 0.0 => format!("it is for sizes over {over} mm"),
                Some((_, to)) => format!("it is for sizes up to {to} mm"),
                None => "it is for no size".to_owned(),
            },
        })
    }

    /// Upper and lower limit deviation, µm, where the standard gives them.
    fn tabled(self, size_mm: f64) -> Option<(f64, f64)> {
        let (main, fine) = (band(&MAIN, size_mm)?, band(&FINE, size_mm)?);
        let width = self.grade.standard_tolerance(size_mm)?;
        let small = at_most(size_mm, 1.0);
        let (letters, row) = LETTERS[self.letter];
        if small && matches!(letters, "a" | "b") {
            return None;
        }
        let from_upper = |upper: f64| (upper, upper - width);
        let from_lower = |lower: f64| (lower + width, lower);
        let above = |es: f64| match self.feature {
            Feature::Shaft => from_upper(es),
            // Not `-es`, which would write a minus before the nought of H.
            Feature::Hole => from_lower(0.0 - es),
        };
        let below = |ei: f64| match self.feature {
            Feature::Shaft => Some(from_lower(self.shaft_below(letters, ei))),
            Feature::Hole => self.hole_below(letters, ei, main, small).map(from_upper),
        };
        let of_grade = |tables: &[(i8, [i16; 13])]| {
            let (_, table) = tables.iter().find(|(grade, _)| *grade == self.grade.0)?;
            cell(table, main)
        };
        match row {
            Row::Above(table) => cell(table, main).map(above),
            Row::AboveFine(table) => cell(table, fine).map(above),
            Row::Below(table) => cell(table, main).and_then(below),
            Row::BelowFine(table) => cell(table, fine).and_then(below),
            Row::Symmetrical => Some((width / 2.0, -width / 2.0)),
            Row::Nearly => match self.feature {
                Feature::Shaft => of_grade(&SHAFT_J).map(from_lower),
                Feature::Hole => of_grade(&HOLE_J).map(from_upper),
            },
        }
    }

    /// The lower deviation of a shaft k to zc, µm: that of the table, but k has it in the grades 4 to 7 only and is 0 else.
    fn shaft_below(self, letters: &str, tabled: f64) -> f64 {
        if letters == "k" && !(4..=7).contains(&self.grade.0) {
            0.0
        } else {
            tabled
        }
    }

    /// The upper deviation of a hole K to ZC, µm: the opposite of the shaft's, with Δ added in K, M, N up to grade 8 and P
    /// to ZC up to grade 7 for sizes over 3 mm (ISO 286-1, table 3 and 4.3.2.5 of the 1988 edition).
    fn hole_below(self, letters: &str, tabled: f64, main: usize, small: bool) -> Option<f64> {
        let grade = self.grade.0;
        // Three places where the table departs from the rule.
        match letters {
            // Written out in the table: -11 by the rule.
            "m" if grade == 6 && (MAIN[main] - 315.0).abs() < 0.5 => return Some(-9.0),
            // Coarser than grade 8, K is given up to 3 mm only, and N is 0 above 3 mm.
            "k" if grade > 8 && main > 0 => return None,
            "n" if grade > 8 && main > 0 => return Some(0.0),
            // N coarser than grade 8 is not used up to 1 mm.
            "n" if grade > 8 && small => return None,
            _ => {}
        }
        let with_delta = if matches!(letters, "k" | "m" | "n") {
            8
        } else {
            7
        };
        // Δ = ITn − IT(n−1), which equals the table's column in every band (tested); up to 3 mm it is 0.
        let delta = if grade <= with_delta && main > 0 {
            let row = |grade: i8| {
                usize::try_from(grade + 1)
                    .ok()
                    .and_then(|row| STANDARD_TOLERANCES.get(row))
                    .map(|row| row[main])
            };
            row(grade)? - row(grade - 1)?
        } else {
            0.0
        };
        Some(delta - tabled)
    }

    /// The sizes at which the class is defined, mm: over, up to and including. `None` where there are none.
    pub fn defined_sizes(self) -> Option<(f64, f64)> {
        // The edges of all bands, and 1 mm, which some rules name.
        let mut edges = vec![0.0, 1.0];
        edges.extend(FINE);
        let defined: Vec<(f64, f64)> = edges
            .windows(2)
            .map(|pair| (pair[0], pair[1]))
            .filter(|(_, to)| self.tabled(*to).is_some())
            .collect();
        Some((defined.first()?.0, defined.last()?.1))
    }
}

impl fmt::Display for Class {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}{}", self.letters(), self.grade)
    }
}

impl FromStr for Class {
    type Err = Iso286Error;

    /// Reads `H7`, `js6`, `ZA9`, `h01`.
    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let owned = || text.to_owned();
        let digits = text
            .find(|c: char| !c.is_ascii_alphabetic())
            .unwrap_or(text.len());
        let (letters, number) = text.split_at(digits);
        if !(1..=2).contains(&letters.len())
            || number.is_empty()
            || !number.bytes().all(|b| b.is_ascii_digit())
        {
            return Err(Iso286Error::Form { text: owned() });
        }
        let feature = if letters.bytes().all(|b| b.is_ascii_uppercase()) {
            Feature::Hole
        } else if letters.bytes().all(|b| b.is_ascii_lowercase()) {
            Feature::Shaft
        } else {
            return Err(Iso286Error::MixedCase { text: owned() });
        };
        let small = letters.to_ascii_lowercase();
        let letter = LETTERS
            .iter()
            .position(|(known, _)| *known == small)
            .ok_or_else(|| Iso286Error::Letter {
                text: owned(),
                letter: letters.to_owned(),
            })?;
        let grade = Grade::parse(number).ok_or_else(|| Iso286Error::Grade {
            text: owned(),
            grade: number.to_owned(),
        })?;
        let class = Self {
            feature,
            letter,
            grade,
        };
        match class.grades() {
            None => Ok(class),
            Some(grades) => Err(Iso286Error::GradeOfLetter {
                class,
                letter: letters.to_owned(),
                grades,
            }),
        }
    }
}
