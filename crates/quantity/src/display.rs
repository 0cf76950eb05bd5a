//! Showing values: which unit, how many digits.
//!
//! Purpose: turn an SI value into the text a pump person expects, `152.3 psi`, `0.0050 in`, `1256 gpm`.
//! Invariants: text read back differs from the value by at most half a unit in its last place; zero never has a minus sign;
//! a value that is not zero never shows as zero; no exponent for sizes between 1e-7 and 1e12.
//! Not here: parsing, and the choice of system, which is the user's setting.
//!
//! Which unit a kind is shown in, and where the next larger one takes over, is common practice of the trade.

use std::borrow::Cow;
use std::fmt;

use crate::kind::Kind;
use crate::parse::CompoundUnit;
use crate::unit::{Resolution, Unit, unit};

/// The system of units results are shown in.
#[derive(Copy, Clone, PartialEq, Eq, Hash, Debug, Default)]
pub enum UnitSystem {
    /// US customary: psi, US gpm, in, ft, hp, °F.
    #[default]
    Us,
    /// Imperial: as US, with imperial gallons.
    Imperial,
    /// Metric: kPa, L/min, mm, m, kW, °C.
    Metric,
}

/// A value as text: a number and a unit.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Display {
    /// The number, without a unit.
    pub number: String,
    /// The unit's symbol; empty for a plain number.
    pub unit: Cow<'static, str>,
}

impl fmt::Display for Display {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write_with_unit(f, &self.number, &self.unit)
    }
}

/// A range as text: two numbers that share a unit.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct RangeDisplay {
    /// The lower number.
    pub low: String,
    /// The upper number.
    pub high: String,
    /// The unit's symbol; empty for plain numbers.
    pub unit: Cow<'static, str>,
}

impl fmt::Display for RangeDisplay {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} .. ", self.low)?;
        write_with_unit(f, &self.high, &self.unit)
    }
}

fn write_with_unit(f: &mut fmt::Formatter<'_>, number: &str, unit: &str) -> fmt::Result {
    f.write_str(number)?;
    if unit.is_empty() {
        return Ok(());
    }
    write!(f, " {unit}")
}

/// Units a kind is shown in: US, imperial, metric. Each is a list of a smallest SI size and a unit, ascending.
struct Shown {
    kind: Kind,
    us: &'static [(f64, &'static str)],
    imperial: &'static [(f64, &'static str)],
    metric: &'static [(f64, &'static str)],
}

const fn row(
    kind: Kind,
    us: &'static [(f64, &'static str)],
    metric: &'static [(f64, &'static str)],
) -> Shown {
    Shown {
        kind,
        us,
        imperial: us,
        metric,
    }
}

/// Dimensions of parts are shown in inches or millimetres, runs of hose in feet or metres; this size (4 ft) parts them.
const RUN: f64 = 1.2192;

#[rustfmt::skip] // a table
static SHOWN: &[Shown] = &[
    row(Kind::Ratio, &[(0.0, "%")], &[(0.0, "%")]),
    row(Kind::Hardness, &[(0.0, "HB")], &[(0.0, "HB")]),
    row(Kind::Length, &[(0.0, "in"), (RUN, "ft")], &[(0.0, "mm"), (RUN, "m")]),
    row(Kind::Head, &[(0.0, "ft")], &[(0.0, "m")]),
    row(Kind::Area, &[(0.0, "in^2")], &[(0.0, "mm^2"), (0.1, "m^2")]),
    Shown { kind: Kind::Volume, us: &[(0.0, "in^3"), (3.785e-4, "gal")], imperial: &[(0.0, "in^3"), (4.546e-4, "impgal")], metric: &[(0.0, "mL"), (1e-3, "L"), (10.0, "m^3")] },
    row(Kind::Mass, &[(0.0, "oz"), (0.4535, "lb")], &[(0.0, "g"), (1.0, "kg")]),
    row(Kind::Time, &[(0.0, "s"), (120.0, "min"), (7200.0, "h"), (172_800.0, "day"), (63_115_200.0, "year")], &[(0.0, "s"), (120.0, "min"), (7200.0, "h"), (172_800.0, "day"), (63_115_200.0, "year")]),
    row(Kind::Speed, &[(0.0, "ft/s")], &[(0.0, "m/s")]),
    row(Kind::Acceleration, &[(0.0, "ft/s^2")], &[(0.0, "m/s^2")]),
    row(Kind::Angle, &[(0.0, "deg")], &[(0.0, "deg")]),
    row(Kind::RotationalSpeed, &[(0.0, "rpm")], &[(0.0, "rpm")]),
    row(Kind::Frequency, &[(0.0, "Hz")], &[(0.0, "Hz")]),
    Shown { kind: Kind::Flow, us: &[(0.0, "gpm")], imperial: &[(0.0, "igpm")], metric: &[(0.0, "L/min")] },
    row(Kind::MassFlow, &[(0.0, "lb/s")], &[(0.0, "kg/s")]),
    row(Kind::Pressure, &[(0.0, "psi")], &[(0.0, "kPa")]),
    row(Kind::GaugePressure, &[(0.0, "psi")], &[(0.0, "kPa")]),
    row(Kind::AbsolutePressure, &[(0.0, "psia")], &[(0.0, "kPaa")]),
    row(Kind::BarometricPressure, &[(0.0, "inHg")], &[(0.0, "kPa")]),
    row(Kind::Vacuum, &[(0.0, "inHg")], &[(0.0, "kPa")]),
    row(Kind::Stress, &[(0.0, "psi"), (6.894_757e7, "ksi")], &[(0.0, "MPa"), (1e10, "GPa")]),
    row(Kind::TemperatureDifference, &[(0.0, "delta_degF")], &[(0.0, "delta_degC")]),
    row(Kind::Temperature, &[(0.0, "degF")], &[(0.0, "degC")]),
    row(Kind::Kelvin, &[(0.0, "K")], &[(0.0, "K")]),
    row(Kind::Density, &[(0.0, "lb/ft^3")], &[(0.0, "kg/m^3")]),
    row(Kind::DynamicViscosity, &[(0.0, "cP")], &[(0.0, "cP")]),
    row(Kind::KinematicViscosity, &[(0.0, "cSt")], &[(0.0, "cSt")]),
    row(Kind::Power, &[(0.0, "hp")], &[(0.0, "kW")]),
    row(Kind::ForceLength, &[(0.0, "lbf*ft")], &[(0.0, "N*m")]),
    row(Kind::Torque, &[(0.0, "lbf*ft")], &[(0.0, "N*m")]),
    row(Kind::Energy, &[(0.0, "Btu")], &[(0.0, "J"), (1e3, "kJ")]),
    row(Kind::Force, &[(0.0, "lbf")], &[(0.0, "N"), (1e4, "kN")]),
    row(Kind::Unbalance, &[(0.0, "oz*in")], &[(0.0, "g*mm")]),
    row(Kind::MomentOfInertia, &[(0.0, "lb*in^2")], &[(0.0, "kg*m^2")]),
    row(Kind::Expansion, &[(0.0, "ppm/degF")], &[(0.0, "ppm/K")]),
    row(Kind::SpecificHeat, &[(0.0, "Btu/(lb*degF)")], &[(0.0, "kJ/(kg*K)")]),
    row(Kind::Stiffness, &[(0.0, "lbf/in")], &[(0.0, "N/mm")]),
    row(Kind::PressureGradient, &[(0.0, "psi/100ft")], &[(0.0, "kPa/100m")]),
    row(Kind::HoseCoefficient, &[(0.0, "psi/((100gpm)^2*100ft)")], &[(0.0, "kPa/((L/min)^2*m)")]),
    row(Kind::FlowCoefficient, &[(0.0, "gpm/psi^0.5")], &[(0.0, "L/min/kPa^0.5")]),
];

fn ladder(kind: Kind, system: UnitSystem) -> &'static [(f64, &'static str)] {
    SHOWN
        .iter()
        .find(|shown| shown.kind == kind)
        .map_or(&[], |shown| match system {
            UnitSystem::Us => shown.us,
            UnitSystem::Imperial => shown.imperial,
            UnitSystem::Metric => shown.metric,
        })
}

/// The unit a kind is usually shown in; the smallest where several are used by size. `None` for plain numbers, counts,
/// and kinds without a name ([`Kind::Other`]), which are shown in SI base units.
pub fn preferred_unit(kind: Kind, system: UnitSystem) -> Option<&'static Unit> {
    ladder(kind, system)
        .first()
        .and_then(|(_, name)| unit(name))
}

/// The unit a value of this SI size is usually shown in: hose runs in feet, parts in inches. `None` as in [`preferred_unit`].
pub fn unit_for(value_si: f64, kind: Kind, system: UnitSystem) -> Option<&'static Unit> {
    // A size one part in 10⁹ below a step belongs to the step: 48 in that went through arithmetic is 4 ft.
    let size = value_si.abs() * (1.0 + 1e-9);
    ladder(kind, system)
        .iter()
        .rev()
        .find(|(from, _)| size >= *from)
        .or_else(|| ladder(kind, system).first())
        .and_then(|(_, name)| unit(name))
}

fn resolution_of(kind: Kind, unit: Option<&Unit>) -> Resolution {
    match (kind, unit) {
        // Heads are read to a tenth of a foot; a length in feet to a hundredth.
        (Kind::Head, Some(_)) => Resolution::Decimals(1),
        // A barometer is read to a hundredth of an inch, a vacuum gauge to a tenth.
        (Kind::BarometricPressure, Some(unit)) if unit.ascii == "inHg" => Resolution::Decimals(2),
        (_, Some(unit)) => unit.resolution,
        (Kind::Count, None) => Resolution::Decimals(0),
        (_, None) => Resolution::Significant(4),
    }
}

fn symbol_of(kind: Kind, unit: Option<&'static Unit>) -> Cow<'static, str> {
    match (kind, unit) {
        (_, Some(unit)) => Cow::Borrowed(unit.symbol),
        (Kind::Other(dimension), None) => Cow::Owned(dimension.si_symbol()),
        (_, None) => Cow::Borrowed(""),
    }
}

/// Shows an SI value in the unit and resolution usual for its kind and size.
///
/// ```
/// use cutwater_quantity::{Kind, UnitSystem, display};
/// assert_eq!(display(1.05e6, Kind::Pressure, UnitSystem::Us).to_string(), "152.3 psi");
/// assert_eq!(display(0.000_127, Kind::Length, UnitSystem::Us).to_string(), "0.0050 in");
/// ```
pub fn display(value_si: f64, kind: Kind, system: UnitSystem) -> Display {
    display_as(value_si, kind, unit_for(value_si, kind, system))
}

/// Shows an SI value in a given unit at its usual resolution; without a unit, in SI base units.
pub fn display_as(value_si: f64, kind: Kind, unit: Option<&'static Unit>) -> Display {
    let value = unit.map_or(value_si, |unit| unit.from_si(value_si));
    Display {
        number: number(value, resolution_of(kind, unit)),
        unit: symbol_of(kind, unit),
    }
}

/// Shows a range in one unit, chosen by the end farther from zero. Where the usual resolution would make the two ends
/// look alike, digits are added until they differ.
pub fn display_range(low_si: f64, high_si: f64, kind: Kind, system: UnitSystem) -> RangeDisplay {
    let larger = if low_si.abs() > high_si.abs() {
        low_si
    } else {
        high_si
    };
    display_range_as(low_si, high_si, kind, unit_for(larger, kind, system))
}

/// As [`display_range`], in a given unit.
pub fn display_range_as(
    low_si: f64,
    high_si: f64,
    kind: Kind,
    unit: Option<&'static Unit>,
) -> RangeDisplay {
    let show = |si: f64| unit.map_or(si, |unit| unit.from_si(si));
    let (low, high) = (show(low_si), show(high_si));
    let resolution = resolution_of(kind, unit);
    let places = [low, high]
        .into_iter()
        .filter(|v| v.is_finite() && !exponential(*v))
        .map(|v| decimals(v, resolution))
        .max()
        .unwrap_or(0);
    // Nine further digits reach the end of what a value of ordinary size holds.
    let (mut low_text, mut high_text) = (fixed(low, places), fixed(high, places));
    for more in 1..=9 {
        if low_text != high_text || low == high {
            break;
        }
        low_text = fixed(low, places + more);
        high_text = fixed(high, places + more);
    }
    RangeDisplay {
        low: low_text,
        high: high_text,
        unit: symbol_of(kind, unit),
    }
}

/// Shows an SI value in a unit as written, with `significant` digits (at least 1, at most 17), and the unit.
pub fn format_in(value_si: f64, unit: &CompoundUnit, significant: u8) -> String {
    let number = number(unit.from_si(value_si), Resolution::Significant(significant));
    Display {
        number,
        unit: Cow::Owned(unit.symbol().to_owned()),
    }
    .to_string()
}

/// Shows an SI value in a unit as written, at that unit's usual resolution (4 significant digits for a compound).
pub fn format_usual(value_si: f64, unit: &CompoundUnit) -> String {
    let resolution = unit
        .unit()
        .map_or(Resolution::Significant(4), |unit| unit.resolution);
    Display {
        number: number(unit.from_si(value_si), resolution),
        unit: Cow::Owned(unit.symbol().to_owned()),
    }
    .to_string()
}

/// A number as text at a resolution. A value that is not finite gives `no value`.
pub fn number(value: f64, resolution: Resolution) -> String {
    if !value.is_finite() {
        return "no value".to_owned();
    }
    if exponential(value) {
        let digits = match resolution {
            Resolution::Significant(n) => usize::from(n.clamp(1, 17)) - 1,
            Resolution::Decimals(_) => 3,
        };
        return format!("{value:.digits$e}");
    }
    fixed(value, decimals(value, resolution))
}

/// Sizes that are easier to read with an exponent.
fn exponential(value: f64) -> bool {
    let size = value.abs();
    size != 0.0 && !(1e-7..1e12).contains(&size)
}

/// Digits after the point for this value; small values keep at least two significant digits.
fn decimals(value: f64, resolution: Resolution) -> usize {
    // Decimal exponent after rounding, so that 9.9996 to 4 digits is 10.00, not 10.000.
    let exponent_at = |digits: usize| -> i32 {
        if value == 0.0 {
            return 0;
        }
        let text = format!("{:.*e}", digits.saturating_sub(1), value.abs());
        text.rsplit_once('e')
            .and_then(|(_, exponent)| exponent.parse().ok())
            .unwrap_or(0)
    };
    let for_significant = |digits: usize| -> usize {
        let places = i32::try_from(digits).unwrap_or(17) - 1 - exponent_at(digits);
        usize::try_from(places).unwrap_or(0)
    };
    match resolution {
        // Zero is zero: digits behind it would claim a precision it has not.
        Resolution::Significant(_) if value == 0.0 => 0,
        Resolution::Significant(n) => for_significant(usize::from(n.clamp(1, 17))),
        Resolution::Decimals(0) if value.abs() >= 1.0 => 0,
        // Large lengths in ft or m: five digits are enough. Machine sizes in inches keep all theirs.
        Resolution::Decimals(n @ 1..=3) if value.abs() >= 100.0 => {
            usize::from(n).min(for_significant(5))
        }
        Resolution::Decimals(n) => {
            usize::from(n).max(if value == 0.0 { 0 } else { for_significant(2) })
        }
    }
}

/// Fixed notation without a minus sign on zero; very large or small values with an exponent.
fn fixed(value: f64, places: usize) -> String {
    if !value.is_finite() {
        return "no value".to_owned();
    }
    if exponential(value) {
        return format!("{value:.3e}");
    }
    let text = format!("{value:.places$}");
    match text.strip_prefix('-') {
        Some(rest) if rest.chars().all(|c| matches!(c, '0' | '.')) => rest.to_owned(),
        _ => text,
    }
}
