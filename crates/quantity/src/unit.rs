//! The one table of units.
//!
//! Purpose: every unit of the trade in US, imperial and SI use, with its spellings, meaning, factor and source. Lookup,
//! completion, reference pages and grammars are made from it.
//! Invariants (held by tests): every spelling belongs to one unit; `ascii` is the normal form of `symbol`; every unit has a
//! doc and a source; a spelling made of several units has the factor and dimension its parts give.
//! Not here: reading of unit text ([`crate::parse_unit`]) and of values (done by the compiler).
//!
//! Decisions: `ftH2O` is the conventional 4 °C column, `inHg` mercury at 0 °C, `hp` 550 ft·lbf/s, `Btu` the International
//! Table one, `gal` the US gallon, `mil` and `thou` a thousandth of an inch, `lb` the pound mass.

use std::collections::HashMap;
use std::f64::consts::PI;
use std::sync::LazyLock;

use crate::kind::Kind;
use crate::parse::normalise;

/// Which system of units a unit belongs to.
#[derive(Copy, Clone, PartialEq, Eq, Hash, Debug)]
pub enum System {
    /// United States customary, most of it shared with imperial.
    Us,
    /// Imperial only.
    Imperial,
    /// SI and units used with it.
    Si,
    /// Everywhere.
    Any,
}

/// Which gallon a unit is built on. US and imperial gallons convert exactly, but a mix in one place is likely a slip.
#[derive(Copy, Clone, PartialEq, Eq, Hash, Debug)]
pub enum Gallon {
    /// US liquid gallon, 231 in³.
    Us,
    /// Imperial gallon, 4.546 09 L.
    Imperial,
    /// Both in one unit; only a compound unit can be so.
    Mixed,
}

/// How a value in a unit is shown unless told otherwise.
#[derive(Copy, Clone, PartialEq, Eq, Hash, Debug)]
pub enum Resolution {
    /// This many digits after the point.
    Decimals(u8),
    /// This many significant digits.
    Significant(u8),
}

/// One unit.
#[derive(Copy, Clone, PartialEq, Debug)]
pub struct Unit {
    /// The usual printed symbol: `°F`, `ft³`.
    pub symbol: &'static str,
    /// The symbol in ASCII: `degF`, `ft^3`. Normal form of every spelling.
    pub ascii: &'static str,
    /// Other accepted spellings.
    pub aliases: &'static [&'static str],
    /// Spellings people write that are not accepted, used only to suggest this unit.
    pub also_written: &'static [&'static str],
    /// Name in words, singular.
    pub name: &'static str,
    /// Name in words, plural.
    pub plural: &'static str,
    /// What it measures.
    pub kind: Kind,
    /// SI value of one unit.
    pub factor: f64,
    /// SI value at zero of the unit; not 0 only for temperatures on a scale.
    pub offset: f64,
    /// The system it belongs to.
    pub system: System,
    /// The gallon it is built on, if any.
    pub gallon: Option<Gallon>,
    /// Usual resolution.
    pub resolution: Resolution,
    /// What it is, for hover and reference pages.
    pub doc: &'static str,
    /// Where the definition comes from.
    pub source: &'static str,
}

impl Unit {
    const fn new(
        symbol: &'static str,
        ascii: &'static str,
        names: (&'static str, &'static str),
        kind: Kind,
        factor: f64,
        doc: &'static str,
        source: &'static str,
    ) -> Self {
        Self {
            symbol,
            ascii,
            aliases: &[],
            also_written: &[],
            name: names.0,
            plural: names.1,
            kind,
            factor,
            offset: 0.0,
            system: System::Any,
            gallon: None,
            resolution: Resolution::Significant(4),
            doc,
            source,
        }
    }
    const fn us(mut self) -> Self {
        self.system = System::Us;
        self
    }
    const fn imperial(mut self) -> Self {
        self.system = System::Imperial;
        self
    }
    const fn si(mut self) -> Self {
        self.system = System::Si;
        self
    }
    const fn alias(mut self, aliases: &'static [&'static str]) -> Self {
        self.aliases = aliases;
        self
    }
    const fn not(mut self, also_written: &'static [&'static str]) -> Self {
        self.also_written = also_written;
        self
    }
    const fn decimals(mut self, n: u8) -> Self {
        self.resolution = Resolution::Decimals(n);
        self
    }
    const fn offset(mut self, offset: f64) -> Self {
        self.offset = offset;
        self
    }
    const fn gallon(mut self, gallon: Gallon) -> Self {
        self.gallon = Some(gallon);
        self
    }

    /// True when the ASCII spelling is one word, without operators.
    pub fn is_word(&self) -> bool {
        !self.ascii.contains(['*', '/', '^', '('])
    }

    /// Every accepted spelling: symbol, ASCII, aliases. The first two may be the same.
    pub fn spellings(&self) -> impl Iterator<Item = &'static str> + '_ {
        [self.symbol, self.ascii]
            .into_iter()
            .chain(self.aliases.iter().copied())
    }

    /// SI value of `value` in this unit.
    pub fn to_si(&self, value: f64) -> f64 {
        value * self.factor + self.offset
    }

    /// Value in this unit of an SI value.
    pub fn from_si(&self, si: f64) -> f64 {
        (si - self.offset) / self.factor
    }
}

const YARD: &str =
    "International yard and pound agreement (1959): 1 yd = 0.9144 m, 1 lb = 0.453 592 37 kg";
const SI: &str = "SI Brochure, 9th edition (BIPM 2019)";
const SP811: &str = "NIST SP 811 (2008), appendix B";
const GRAVITY: &str = "International yard and pound agreement (1959); standard gravity 9.806 65 m/s² (3rd CGPM, 1901)";
const MERCURY: &str =
    "NIST SP 811 (2008), appendix B: conventional mercury, 13 595.1 kg/m³ (0 °C) at 9.806 65 m/s²";
const WATER: &str =
    "NIST SP 811 (2008), appendix B: conventional water, 1000 kg/m³ (4 °C) at 9.806 65 m/s²";
const US_GALLON: &str = "NIST Handbook 44, appendix C: US gallon = 231 in³";
const IMPERIAL_GALLON: &str = "UK Weights and Measures Act 1985, schedule 1: gallon = 4.546 09 dm³";
const TRADE: &str = "common practice of the trade, from the units it is made of";

/// Metres in an inch.
const INCH: f64 = 0.0254;
const FOOT: f64 = 0.3048;
const MILE: f64 = 1609.344;
const POUND: f64 = 0.453_592_37;
const GRAM: f64 = 1e-3;
const G0: f64 = 9.806_65;
const POUND_FORCE: f64 = POUND * G0;
const PSI: f64 = POUND_FORCE / (INCH * INCH);
const IN_HG: f64 = 3_386.388_640_341;
const MM_HG: f64 = 133.322_387_415;
const FT_H2O: f64 = 2_989.066_92;
const GALLON: f64 = 3.785_411_784e-3;
const IMP_GALLON: f64 = 4.546_09e-3;
const GPM: f64 = GALLON / 60.0;
const HP: f64 = 550.0 * FOOT * POUND_FORCE;
/// International Table Btu: 4.1868 J/(g·K) × 1 lb × 5/9 K.
const BTU: f64 = 1_055.055_852_62;
const CUBIC_FOOT: f64 = 0.028_316_846_592;
const CUBIC_INCH: f64 = 1.638_706_4e-5;
const SQUARE_FOOT: f64 = 0.092_903_04;
const SQUARE_INCH: f64 = 6.4516e-4;
const FAHRENHEIT: f64 = 5.0 / 9.0;
const REV: f64 = 2.0 * PI;

const fn u(
    symbol: &'static str,
    ascii: &'static str,
    names: (&'static str, &'static str),
    kind: Kind,
    factor: f64,
    doc: &'static str,
    source: &'static str,
) -> Unit {
    Unit::new(symbol, ascii, names, kind, factor, doc, source)
}

use Kind::*;

#[rustfmt::skip] // one unit per entry, aligned as a table
static UNITS: &[Unit] = &[
    // Plain numbers
    u("%", "%", ("percent", "percent"), Ratio, 0.01, "One hundredth.", SI).decimals(1).not(&["pct", "percent"]),
    u("ppm", "ppm", ("part per million", "parts per million"), Ratio, 1e-6, "One millionth.", SI),
    u("HB", "HB", ("Brinell hardness", "Brinell hardness"), Hardness, 1.0, "Brinell hardness number.", "ISO 6506-1 (HBW)").alias(&["HBW"]).decimals(0).not(&["BHN"]),

    // Length
    u("in", "in", ("inch", "inches"), Length, INCH, "Inch, exactly 25.4 mm.", YARD).us().decimals(4).not(&["\"", "ins", "Inch"]),
    u("ft", "ft", ("foot", "feet"), Length, FOOT, "Foot, 12 in, exactly 0.3048 m.", YARD).us().decimals(2).not(&["'"]),
    u("yd", "yd", ("yard", "yards"), Length, 0.9144, "Yard, 3 ft.", YARD).us().decimals(2),
    u("mi", "mi", ("mile", "miles"), Length, MILE, "Mile, 5280 ft.", YARD).us().not(&["mile"]),
    u("mil", "mil", ("mil", "mils"), Length, 2.54e-5, "Mil, one thousandth of an inch; the same as the thou. Not a millimetre.", YARD).us().alias(&["thou"]).decimals(1).not(&["thousandth"]),
    u("µin", "uin", ("microinch", "microinches"), Length, 2.54e-8, "Microinch, one millionth of an inch, for surface roughness.", YARD).us().decimals(0),
    u("m", "m", ("metre", "metres"), Length, 1.0, "Metre.", SI).si().decimals(3).not(&["meter", "meters"]),
    u("cm", "cm", ("centimetre", "centimetres"), Length, 0.01, "Centimetre.", SI).si().decimals(2).not(&["centimeter"]),
    u("mm", "mm", ("millimetre", "millimetres"), Length, 1e-3, "Millimetre.", SI).si().decimals(3).not(&["millimeter"]),
    u("µm", "um", ("micrometre", "micrometres"), Length, 1e-6, "Micrometre.", SI).si().decimals(1).not(&["micron", "microns", "mu"]),
    u("km", "km", ("kilometre", "kilometres"), Length, 1e3, "Kilometre.", SI).si().not(&["kilometer"]),

    // Area
    u("in²", "in^2", ("square inch", "square inches"), Area, SQUARE_INCH, "Square inch.", YARD).us().alias(&["in2"]).not(&["sqin"]),
    u("ft²", "ft^2", ("square foot", "square feet"), Area, SQUARE_FOOT, "Square foot.", YARD).us().alias(&["ft2"]).not(&["sqft"]),
    u("mm²", "mm^2", ("square millimetre", "square millimetres"), Area, 1e-6, "Square millimetre.", SI).si().alias(&["mm2"]),
    u("cm²", "cm^2", ("square centimetre", "square centimetres"), Area, 1e-4, "Square centimetre.", SI).si().alias(&["cm2"]),
    u("m²", "m^2", ("square metre", "square metres"), Area, 1.0, "Square metre.", SI).si().alias(&["m2"]),

    // Volume
    u("gal", "gal", ("US gallon", "US gallons"), Volume, GALLON, "US liquid gallon, 231 in³. The imperial gallon is impgal.", US_GALLON).us().alias(&["usgal"]).gallon(Gallon::Us).not(&["gallon", "gallons", "gals"]),
    u("impgal", "impgal", ("imperial gallon", "imperial gallons"), Volume, IMP_GALLON, "Imperial gallon, 4.54609 L, about 1.2 US gallons.", IMPERIAL_GALLON).imperial().alias(&["igal"]).gallon(Gallon::Imperial).not(&["ukgal"]),
    u("qt", "qt", ("US quart", "US quarts"), Volume, GALLON / 4.0, "US liquid quart, a quarter of a US gallon.", US_GALLON).us().gallon(Gallon::Us),
    u("L", "L", ("litre", "litres"), Volume, 1e-3, "Litre.", SI).si().alias(&["l"]).not(&["liter", "liters"]),
    u("mL", "mL", ("millilitre", "millilitres"), Volume, 1e-6, "Millilitre.", SI).si().alias(&["ml"]).not(&["cc", "milliliter"]),
    u("m³", "m^3", ("cubic metre", "cubic metres"), Volume, 1.0, "Cubic metre.", SI).si().alias(&["m3"]),
    u("cm³", "cm^3", ("cubic centimetre", "cubic centimetres"), Volume, 1e-6, "Cubic centimetre.", SI).si().alias(&["cm3"]),
    u("mm³", "mm^3", ("cubic millimetre", "cubic millimetres"), Volume, 1e-9, "Cubic millimetre.", SI).si().alias(&["mm3"]),
    u("in³", "in^3", ("cubic inch", "cubic inches"), Volume, CUBIC_INCH, "Cubic inch.", YARD).us().alias(&["in3"]).not(&["cuin"]),
    u("ft³", "ft^3", ("cubic foot", "cubic feet"), Volume, CUBIC_FOOT, "Cubic foot.", YARD).us().alias(&["ft3"]).not(&["cuft"]),

    // Mass
    u("lb", "lb", ("pound", "pounds"), Mass, POUND, "Pound (mass). The force is lbf.", YARD).us().alias(&["lbm"]).decimals(2).not(&["lbs", "#"]),
    u("oz", "oz", ("ounce", "ounces"), Mass, POUND / 16.0, "Ounce (mass, avoirdupois), a sixteenth of a pound.", YARD).us().decimals(2),
    u("gr", "gr", ("grain", "grains"), Mass, 6.479_891e-5, "Grain, 1/7000 lb.", SP811).us().alias(&["grain"]).not(&["grains"]),
    u("slug", "slug", ("slug", "slugs"), Mass, POUND_FORCE / FOOT, "Slug: one pound force gives it one foot per second squared.", SP811).us(),
    u("kg", "kg", ("kilogram", "kilograms"), Mass, 1.0, "Kilogram.", SI).si().decimals(2),
    u("g", "g", ("gram", "grams"), Mass, GRAM, "Gram. Standard gravity is g0.", SI).si().decimals(1),
    u("mg", "mg", ("milligram", "milligrams"), Mass, 1e-6, "Milligram.", SI).si(),
    u("t", "t", ("tonne", "tonnes"), Mass, 1e3, "Tonne, 1000 kg.", SI).si().alias(&["tonne"]),

    // Time
    u("s", "s", ("second", "seconds"), Time, 1.0, "Second.", SI).decimals(1).not(&["sec", "secs"]),
    u("ms", "ms", ("millisecond", "milliseconds"), Time, 1e-3, "Millisecond.", SI),
    u("min", "min", ("minute", "minutes"), Time, 60.0, "Minute.", SI).decimals(1).not(&["mins"]),
    u("h", "h", ("hour", "hours"), Time, 3600.0, "Hour.", SI).decimals(1).not(&["hr", "hrs"]),
    u("day", "day", ("day", "days"), Time, 86_400.0, "Day of 24 h.", SI).decimals(1).alias(&["days", "d"]),
    u("year", "year", ("year", "years"), Time, 31_557_600.0, "Year of 365.25 days.", "Julian year, IAU Style Manual (1989)").decimals(1).alias(&["years"]).not(&["yr", "yrs"]),

    // Speed
    u("ft/s", "ft/s", ("foot per second", "feet per second"), Speed, FOOT, "Foot per second.", YARD).us().decimals(1).not(&["fps"]),
    u("ft/min", "ft/min", ("foot per minute", "feet per minute"), Speed, FOOT / 60.0, "Foot per minute.", YARD).us().decimals(0).not(&["fpm"]),
    u("in/s", "in/s", ("inch per second", "inches per second"), Speed, INCH, "Inch per second, for vibration.", YARD).us().decimals(3).not(&["ips"]),
    u("mi/h", "mi/h", ("mile per hour", "miles per hour"), Speed, MILE / 3600.0, "Mile per hour.", YARD).us().alias(&["mph"]).decimals(1),
    u("m/s", "m/s", ("metre per second", "metres per second"), Speed, 1.0, "Metre per second.", SI).si().decimals(2),
    u("mm/s", "mm/s", ("millimetre per second", "millimetres per second"), Speed, 1e-3, "Millimetre per second, for vibration and balance grades.", SI).si().decimals(2),
    u("km/h", "km/h", ("kilometre per hour", "kilometres per hour"), Speed, 1.0 / 3.6, "Kilometre per hour.", SI).si().decimals(1).not(&["kph", "kmh"]),

    // Acceleration
    u("ft/s²", "ft/s^2", ("foot per second squared", "feet per second squared"), Acceleration, FOOT, "Foot per second squared.", YARD).us(),
    u("m/s²", "m/s^2", ("metre per second squared", "metres per second squared"), Acceleration, 1.0, "Metre per second squared.", SI).si(),
    u("g0", "g0", ("standard gravity", "standard gravities"), Acceleration, G0, "Standard gravity, 9.80665 m/s².", "3rd CGPM (1901); NIST SP 811 (2008), appendix B"),

    // Angle and rotation
    u("°", "deg", ("degree", "degrees"), Angle, PI / 180.0, "Degree of angle. Temperatures are degF and degC.", SI).decimals(1),
    u("rad", "rad", ("radian", "radians"), Angle, 1.0, "Radian.", SI).decimals(4),
    u("rev", "rev", ("revolution", "revolutions"), Angle, REV, "Revolution, a full turn of 2π rad.", SP811).decimals(3).not(&["turn", "turns"]),
    u("arcmin", "arcmin", ("minute of arc", "minutes of arc"), Angle, PI / 10_800.0, "Minute of arc, one sixtieth of a degree.", SI).decimals(1),
    u("rpm", "rpm", ("revolution per minute", "revolutions per minute"), RotationalSpeed, REV / 60.0, "Revolution per minute.", SP811).alias(&["rev/min"]).decimals(0),
    u("rad/s", "rad/s", ("radian per second", "radians per second"), RotationalSpeed, 1.0, "Radian per second.", SI).si().decimals(2),
    u("rev/s", "rev/s", ("revolution per second", "revolutions per second"), RotationalSpeed, REV, "Revolution per second.", SP811).decimals(2).not(&["rps"]),
    u("°/s", "deg/s", ("degree per second", "degrees per second"), RotationalSpeed, PI / 180.0, "Degree per second.", SI).decimals(1),
    u("Hz", "Hz", ("hertz", "hertz"), Frequency, 1.0, "Hertz, one event per second. Not a revolution per second, which is rev/s.", SI).decimals(1),
    u("kHz", "kHz", ("kilohertz", "kilohertz"), Frequency, 1e3, "Kilohertz.", SI),

    // Flow
    u("gpm", "gpm", ("US gallon per minute", "US gallons per minute"), Flow, GPM, "US gallon per minute. With imperial gallons it is igpm.", US_GALLON).us().alias(&["gal/min", "usgpm", "usgal/min"]).gallon(Gallon::Us),
    u("igpm", "igpm", ("imperial gallon per minute", "imperial gallons per minute"), Flow, IMP_GALLON / 60.0, "Imperial gallon per minute, about 1.2 US gpm.", IMPERIAL_GALLON).imperial().alias(&["impgpm", "impgal/min", "igal/min"]).gallon(Gallon::Imperial).not(&["ukgpm"]),
    u("L/min", "L/min", ("litre per minute", "litres per minute"), Flow, 1e-3 / 60.0, "Litre per minute.", SI).si().alias(&["l/min", "lpm", "Lpm"]).not(&["LPM", "dm3/min"]),
    u("L/s", "L/s", ("litre per second", "litres per second"), Flow, 1e-3, "Litre per second.", SI).si().alias(&["l/s"]).not(&["lps"]),
    u("m³/h", "m^3/h", ("cubic metre per hour", "cubic metres per hour"), Flow, 1.0 / 3600.0, "Cubic metre per hour.", SI).si().alias(&["m3/h"]).not(&["cmh"]),
    u("m³/s", "m^3/s", ("cubic metre per second", "cubic metres per second"), Flow, 1.0, "Cubic metre per second.", SI).si().alias(&["m3/s"]),
    u("ft³/s", "ft^3/s", ("cubic foot per second", "cubic feet per second"), Flow, CUBIC_FOOT, "Cubic foot per second.", YARD).us().alias(&["ft3/s", "cfs"]),
    u("ft³/min", "ft^3/min", ("cubic foot per minute", "cubic feet per minute"), Flow, CUBIC_FOOT / 60.0, "Cubic foot per minute.", YARD).us().alias(&["ft3/min", "cfm"]),
    u("kg/s", "kg/s", ("kilogram per second", "kilograms per second"), MassFlow, 1.0, "Kilogram per second.", SI).si(),
    u("lb/s", "lb/s", ("pound per second", "pounds per second"), MassFlow, POUND, "Pound per second.", YARD).us(),

    // Pressure, reference unstated
    u("psi", "psi", ("pound force per square inch", "pounds force per square inch"), Pressure, PSI, "Pound force per square inch, reference unstated: a difference, or a panel gauge's reading. Absolute is psia.", GRAVITY).us().alias(&["lbf/in^2"]).decimals(1),
    u("Pa", "Pa", ("pascal", "pascals"), Pressure, 1.0, "Pascal, 1 N/m².", SI).si().alias(&["N/m^2"]),
    u("hPa", "hPa", ("hectopascal", "hectopascals"), Pressure, 100.0, "Hectopascal, the same as a millibar.", SI).si().decimals(1),
    u("kPa", "kPa", ("kilopascal", "kilopascals"), Pressure, 1e3, "Kilopascal, reference unstated: a difference, or a panel gauge's reading. Absolute is kPaa.", SI).si(),
    u("MPa", "MPa", ("megapascal", "megapascals"), Pressure, 1e6, "Megapascal, for pressure and for strength.", SI).si().alias(&["N/mm^2"]),
    u("bar", "bar", ("bar", "bar"), Pressure, 1e5, "Bar, 100 kPa, reference unstated.", SI).si().decimals(2).not(&["bars"]),
    u("mbar", "mbar", ("millibar", "millibar"), Pressure, 100.0, "Millibar, 100 Pa.", SI).si().decimals(1).not(&["millibars"]),
    u("kgf/cm²", "kgf/cm^2", ("kilogram force per square centimetre", "kilograms force per square centimetre"), Pressure, G0 * 1e4, "Kilogram force per square centimetre (technical atmosphere).", SP811).alias(&["kgf/cm2"]).decimals(2),
    u("atm", "atm", ("standard atmosphere", "standard atmospheres"), Pressure, 101_325.0, "Standard atmosphere, 101325 Pa, as a unit of pressure.", "10th CGPM (1954); NIST SP 811 (2008), appendix B").decimals(3),
    u("torr", "torr", ("torr", "torr"), Pressure, 101_325.0 / 760.0, "Torr, 1/760 of a standard atmosphere.", SP811).decimals(1).not(&["Torr"]),
    u("inHg", "inHg", ("inch of mercury", "inches of mercury"), Pressure, IN_HG, "Inch of mercury at 0 °C. In a vacuum field a reading below the atmosphere.", MERCURY).us().decimals(1).not(&["\"Hg", "in_Hg", "inhg"]),
    u("mmHg", "mmHg", ("millimetre of mercury", "millimetres of mercury"), Pressure, MM_HG, "Millimetre of mercury at 0 °C.", MERCURY).decimals(0),
    u("ftH₂O", "ftH2O", ("foot of water", "feet of water"), Pressure, FT_H2O, "Conventional foot of water (4 °C) as a pressure. A head in ft is a length and needs a density.", WATER).us().alias(&["ftWC"]).decimals(2),
    u("inH₂O", "inH2O", ("inch of water", "inches of water"), Pressure, FT_H2O / 12.0, "Conventional inch of water (4 °C) as a pressure.", WATER).us().alias(&["inWC"]).decimals(1),
    u("mH₂O", "mH2O", ("metre of water", "metres of water"), Pressure, 9806.65, "Conventional metre of water (4 °C) as a pressure.", WATER).alias(&["mWC"]).decimals(2),
    u("mmH₂O", "mmH2O", ("millimetre of water", "millimetres of water"), Pressure, 9.806_65, "Conventional millimetre of water (4 °C) as a pressure.", WATER).alias(&["mmWC"]).decimals(1),

    // Pressure, reference stated
    u("psig", "psig", ("psi gauge", "psi gauge"), GaugePressure, PSI, "Pound force per square inch above the atmosphere.", GRAVITY).us().decimals(1).alias(&["psi_g"]),
    u("psia", "psia", ("psi absolute", "psi absolute"), AbsolutePressure, PSI, "Pound force per square inch above a perfect vacuum.", GRAVITY).us().decimals(2).alias(&["psi_a", "psi_abs"]),
    u("kPag", "kPag", ("kilopascal gauge", "kilopascals gauge"), GaugePressure, 1e3, "Kilopascal above the atmosphere.", SI).si().alias(&["kPa_g"]),
    u("kPaa", "kPaa", ("kilopascal absolute", "kilopascals absolute"), AbsolutePressure, 1e3, "Kilopascal above a perfect vacuum.", SI).si().alias(&["kPa_a", "kPa_abs"]),
    u("barg", "barg", ("bar gauge", "bar gauge"), GaugePressure, 1e5, "Bar above the atmosphere.", SI).si().decimals(2).alias(&["bar_g"]),
    u("bara", "bara", ("bar absolute", "bar absolute"), AbsolutePressure, 1e5, "Bar above a perfect vacuum.", SI).si().decimals(3).alias(&["bar_a", "bar_abs"]),
    u("mbara", "mbara", ("millibar absolute", "millibar absolute"), AbsolutePressure, 100.0, "Millibar above a perfect vacuum.", SI).si().decimals(1).alias(&["mbar_a", "mbar_abs"]),
    u("hPaa", "hPaa", ("hectopascal absolute", "hectopascals absolute"), AbsolutePressure, 100.0, "Hectopascal above a perfect vacuum.", SI).si().decimals(1).alias(&["hPa_a", "hPa_abs"]),
    u("inHga", "inHga", ("inch of mercury absolute", "inches of mercury absolute"), AbsolutePressure, IN_HG, "Inch of mercury (0 °C) above a perfect vacuum.", MERCURY).us().decimals(2).alias(&["inHg_a", "inHg_abs"]),
    u("mmHga", "mmHga", ("millimetre of mercury absolute", "millimetres of mercury absolute"), AbsolutePressure, MM_HG, "Millimetre of mercury (0 °C) above a perfect vacuum.", MERCURY).decimals(1).alias(&["mmHg_a", "mmHg_abs"]),
    u("inHg_vac", "inHg_vac", ("inch of mercury of vacuum", "inches of mercury of vacuum"), Vacuum, IN_HG, "Inch of mercury (0 °C) below the atmosphere.", MERCURY).us().decimals(1).alias(&["inHgv"]),
    u("mmHg_vac", "mmHg_vac", ("millimetre of mercury of vacuum", "millimetres of mercury of vacuum"), Vacuum, MM_HG, "Millimetre of mercury (0 °C) below the atmosphere.", MERCURY).decimals(0).alias(&["mmHgv"]),
    u("kPa_vac", "kPa_vac", ("kilopascal of vacuum", "kilopascals of vacuum"), Vacuum, 1e3, "Kilopascal below the atmosphere.", SI).si().decimals(1),

    // Stress
    u("ksi", "ksi", ("thousand pounds force per square inch", "thousand pounds force per square inch"), Stress, PSI * 1e3, "Thousand psi, for strength.", GRAVITY).us(),
    u("Mpsi", "Mpsi", ("million pounds force per square inch", "million pounds force per square inch"), Stress, PSI * 1e6, "Million psi, for the modulus of elasticity.", GRAVITY).us(),
    u("GPa", "GPa", ("gigapascal", "gigapascals"), Stress, 1e9, "Gigapascal, for the modulus of elasticity.", SI).si(),

    // Temperature
    u("°F", "degF", ("degree Fahrenheit", "degrees Fahrenheit"), Temperature, FAHRENHEIT, "Temperature on the Fahrenheit scale. A difference is delta_degF.", SP811).us().offset(459.67 * FAHRENHEIT).decimals(1).not(&["F", "degree_F", "fahrenheit"]),
    u("°C", "degC", ("degree Celsius", "degrees Celsius"), Temperature, 1.0, "Temperature on the Celsius scale. A difference is delta_degC or K.", SI).si().offset(273.15).decimals(1).not(&["C", "degree_C", "celsius", "centigrade"]),
    u("K", "K", ("kelvin", "kelvins"), Kelvin, 1.0, "Kelvin: a temperature where one is expected, otherwise a difference.", SI).si().decimals(2),
    u("°R", "degR", ("degree Rankine", "degrees Rankine"), Kelvin, FAHRENHEIT, "Degree Rankine, Fahrenheit degrees from absolute zero: a temperature where one is expected, otherwise a difference.", SP811).us().decimals(2).not(&["rankine"]),
    u("Δ°F", "delta_degF", ("Fahrenheit degree of difference", "Fahrenheit degrees of difference"), TemperatureDifference, FAHRENHEIT, "A difference of temperature in Fahrenheit degrees.", SP811).us().decimals(1),
    u("Δ°C", "delta_degC", ("Celsius degree of difference", "Celsius degrees of difference"), TemperatureDifference, 1.0, "A difference of temperature in Celsius degrees.", SI).si().alias(&["delta_K"]).decimals(1),

    // Density, viscosity
    u("lb/ft³", "lb/ft^3", ("pound per cubic foot", "pounds per cubic foot"), Density, POUND / CUBIC_FOOT, "Pound per cubic foot.", YARD).us().alias(&["lb/ft3"]).decimals(2).not(&["pcf"]),
    u("lb/in³", "lb/in^3", ("pound per cubic inch", "pounds per cubic inch"), Density, POUND / CUBIC_INCH, "Pound per cubic inch.", YARD).us().alias(&["lb/in3"]).decimals(4),
    u("lb/gal", "lb/gal", ("pound per US gallon", "pounds per US gallon"), Density, POUND / GALLON, "Pound per US gallon.", US_GALLON).us().gallon(Gallon::Us).decimals(3).not(&["ppg"]),
    u("slug/ft³", "slug/ft^3", ("slug per cubic foot", "slugs per cubic foot"), Density, POUND_FORCE / FOOT / CUBIC_FOOT, "Slug per cubic foot.", SP811).us().alias(&["slug/ft3"]),
    u("kg/m³", "kg/m^3", ("kilogram per cubic metre", "kilograms per cubic metre"), Density, 1.0, "Kilogram per cubic metre.", SI).si().alias(&["kg/m3"]).decimals(1),
    u("g/cm³", "g/cm^3", ("gram per cubic centimetre", "grams per cubic centimetre"), Density, 1e3, "Gram per cubic centimetre.", SI).si().alias(&["g/cm3"]).decimals(3),
    u("cP", "cP", ("centipoise", "centipoise"), DynamicViscosity, 1e-3, "Centipoise, 1 mPa·s.", SP811).alias(&["mPa*s"]).decimals(3),
    u("Pa·s", "Pa*s", ("pascal second", "pascal seconds"), DynamicViscosity, 1.0, "Pascal second.", SI).si(),
    u("lb/(ft·s)", "lb/(ft*s)", ("pound per foot second", "pounds per foot second"), DynamicViscosity, POUND / FOOT, "Pound (mass) per foot second.", SP811).us(),
    u("lbf·s/ft²", "lbf*s/ft^2", ("pound force second per square foot", "pound force seconds per square foot"), DynamicViscosity, POUND_FORCE / SQUARE_FOOT, "Pound force second per square foot.", SP811).us(),
    u("lbf·s/in²", "lbf*s/in^2", ("pound force second per square inch", "pound force seconds per square inch"), DynamicViscosity, PSI, "Pound force second per square inch (reyn).", SP811).us(),
    u("cSt", "cSt", ("centistokes", "centistokes"), KinematicViscosity, 1e-6, "Centistokes, 1 mm²/s.", SP811).alias(&["mm^2/s"]).decimals(3),
    u("m²/s", "m^2/s", ("square metre per second", "square metres per second"), KinematicViscosity, 1.0, "Square metre per second.", SI).si().alias(&["m2/s"]),
    u("ft²/s", "ft^2/s", ("square foot per second", "square feet per second"), KinematicViscosity, SQUARE_FOOT, "Square foot per second.", SP811).us().alias(&["ft2/s"]),

    // Force, torque, energy, power
    u("lbf", "lbf", ("pound force", "pounds force"), Force, POUND_FORCE, "Pound force, the weight of a pound at standard gravity.", GRAVITY).us().decimals(1).not(&["lb_f"]),
    u("N", "N", ("newton", "newtons"), Force, 1.0, "Newton.", SI).si().decimals(1),
    u("kN", "kN", ("kilonewton", "kilonewtons"), Force, 1e3, "Kilonewton.", SI).si(),
    u("kgf", "kgf", ("kilogram force", "kilograms force"), Force, G0, "Kilogram force, the weight of a kilogram at standard gravity.", SP811).decimals(1),
    u("lbf·ft", "lbf*ft", ("pound force foot", "pound force feet"), ForceLength, POUND_FORCE * FOOT, "Pound force foot; torque or energy as the place it stands in decides.", GRAVITY).us().alias(&["ft*lbf"]).decimals(1).not(&["ftlb", "ft_lb", "lbft", "ft-lb", "ft-lbf"]),
    u("lbf·in", "lbf*in", ("pound force inch", "pound force inches"), ForceLength, POUND_FORCE * INCH, "Pound force inch; torque or energy as the place it stands in decides.", GRAVITY).us().alias(&["in*lbf"]).decimals(1).not(&["inlb", "in_lb", "in-lb"]),
    u("N·m", "N*m", ("newton metre", "newton metres"), ForceLength, 1.0, "Newton metre; torque or energy as the place it stands in decides.", SI).si().alias(&["Nm"]).decimals(1),
    u("kgf·m", "kgf*m", ("kilogram force metre", "kilogram force metres"), ForceLength, G0, "Kilogram force metre; torque or energy as the place it stands in decides.", SP811).decimals(2),
    u("J", "J", ("joule", "joules"), Energy, 1.0, "Joule.", SI).si(),
    u("kJ", "kJ", ("kilojoule", "kilojoules"), Energy, 1e3, "Kilojoule.", SI).si(),
    u("Btu", "Btu", ("Btu", "Btu"), Energy, BTU, "British thermal unit, International Table.", SP811).us().not(&["BTU"]),
    u("kWh", "kWh", ("kilowatt hour", "kilowatt hours"), Energy, 3.6e6, "Kilowatt hour.", SI).alias(&["kW*h"]),
    u("hp·h", "hp*h", ("horsepower hour", "horsepower hours"), Energy, HP * 3600.0, "Horsepower hour.", SP811).us(),
    u("hp", "hp", ("horsepower", "horsepower"), Power, HP, "Mechanical horsepower, 550 ft·lbf/s. The metric one is PS.", SP811).us().alias(&["bhp"]).decimals(1),
    u("PS", "PS", ("metric horsepower", "metric horsepower"), Power, 75.0 * G0, "Metric horsepower, 75 kgf·m/s.", SP811).decimals(1),
    u("W", "W", ("watt", "watts"), Power, 1.0, "Watt.", SI).si(),
    u("kW", "kW", ("kilowatt", "kilowatts"), Power, 1e3, "Kilowatt.", SI).si().decimals(1).not(&["KW"]),
    u("MW", "MW", ("megawatt", "megawatts"), Power, 1e6, "Megawatt.", SI).si(),
    u("ft·lbf/s", "ft*lbf/s", ("foot pound force per second", "foot pounds force per second"), Power, FOOT * POUND_FORCE, "Foot pound force per second.", GRAVITY).us().alias(&["lbf*ft/s"]),
    u("Btu/h", "Btu/h", ("Btu per hour", "Btu per hour"), Power, BTU / 3600.0, "British thermal unit (International Table) per hour.", SP811).us(),

    // Unbalance, inertia, stiffness, heat
    u("oz·in", "oz*in", ("ounce inch", "ounce inches"), Unbalance, POUND / 16.0 * INCH, "Ounce inch of unbalance.", YARD).us().alias(&["in*oz"]).decimals(2),
    u("g·mm", "g*mm", ("gram millimetre", "gram millimetres"), Unbalance, 1e-6, "Gram millimetre of unbalance.", SI).si().decimals(0),
    u("g·in", "g*in", ("gram inch", "gram inches"), Unbalance, GRAM * INCH, "Gram inch of unbalance.", TRADE).decimals(1),
    u("g·cm", "g*cm", ("gram centimetre", "gram centimetres"), Unbalance, 1e-5, "Gram centimetre of unbalance.", SI).si().decimals(1),
    u("kg·mm", "kg*mm", ("kilogram millimetre", "kilogram millimetres"), Unbalance, 1e-3, "Kilogram millimetre of unbalance.", SI).si(),
    u("kg·m", "kg*m", ("kilogram metre", "kilogram metres"), Unbalance, 1.0, "Kilogram metre of unbalance.", SI).si(),
    u("lb·in", "lb*in", ("pound inch", "pound inches"), Unbalance, POUND * INCH, "Pound (mass) inch of unbalance. Torque is lbf*in.", YARD).us().alias(&["in*lb"]),
    u("lb·ft²", "lb*ft^2", ("pound foot squared", "pound feet squared"), MomentOfInertia, POUND * SQUARE_FOOT, "Pound (mass) foot squared.", YARD).us().alias(&["lb*ft2"]),
    u("lb·in²", "lb*in^2", ("pound inch squared", "pound inches squared"), MomentOfInertia, POUND * SQUARE_INCH, "Pound (mass) inch squared.", YARD).us().alias(&["lb*in2"]),
    u("kg·m²", "kg*m^2", ("kilogram metre squared", "kilogram metres squared"), MomentOfInertia, 1.0, "Kilogram metre squared.", SI).si().alias(&["kg*m2"]),
    u("lbf/in", "lbf/in", ("pound force per inch", "pounds force per inch"), Stiffness, POUND_FORCE / INCH, "Pound force per inch of deflection.", GRAVITY).us(),
    u("N/m", "N/m", ("newton per metre", "newtons per metre"), Stiffness, 1.0, "Newton per metre of deflection.", SI).si(),
    u("N/mm", "N/mm", ("newton per millimetre", "newtons per millimetre"), Stiffness, 1e3, "Newton per millimetre of deflection.", SI).si(),
    u("1/°F", "1/degF", ("per Fahrenheit degree", "per Fahrenheit degree"), Expansion, 1.8, "Relative growth for each Fahrenheit degree.", SP811).us().alias(&["1/delta_degF", "degF^-1"]),
    u("1/K", "1/K", ("per kelvin", "per kelvin"), Expansion, 1.0, "Relative growth for each kelvin.", SI).si().alias(&["K^-1", "1/degC", "1/delta_degC"]),
    u("ppm/K", "ppm/K", ("part per million per kelvin", "parts per million per kelvin"), Expansion, 1e-6, "Millionths of growth for each kelvin.", SI).si().alias(&["ppm/degC"]).decimals(1),
    u("ppm/°F", "ppm/degF", ("part per million per Fahrenheit degree", "parts per million per Fahrenheit degree"), Expansion, 1.8e-6, "Millionths of growth for each Fahrenheit degree.", SP811).us().decimals(1),
    u("Btu/(lb·°F)", "Btu/(lb*degF)", ("Btu per pound Fahrenheit degree", "Btu per pound Fahrenheit degree"), SpecificHeat, BTU / (POUND * FAHRENHEIT), "British thermal unit (International Table) per pound and Fahrenheit degree, 4186.8 J/(kg·K).", SP811).us().decimals(4),
    u("J/(kg·K)", "J/(kg*K)", ("joule per kilogram kelvin", "joules per kilogram kelvin"), SpecificHeat, 1.0, "Joule per kilogram and kelvin.", SI).si(),
    u("kJ/(kg·K)", "kJ/(kg*K)", ("kilojoule per kilogram kelvin", "kilojoules per kilogram kelvin"), SpecificHeat, 1e3, "Kilojoule per kilogram and kelvin.", SI).si().decimals(3),

    // Hose
    u("psi/100ft", "psi/100ft", ("psi per hundred feet", "psi per hundred feet"), PressureGradient, PSI / (100.0 * FOOT), "Friction loss in psi per 100 ft of hose.", TRADE).us().alias(&["psi/(100*ft)"]).decimals(1),
    u("psi/ft", "psi/ft", ("psi per foot", "psi per foot"), PressureGradient, PSI / FOOT, "Pressure in psi for each foot.", TRADE).us(),
    u("kPa/m", "kPa/m", ("kilopascal per metre", "kilopascals per metre"), PressureGradient, 1e3, "Pressure in kPa for each metre.", SI).si(),
    u("kPa/100m", "kPa/100m", ("kilopascal per hundred metres", "kilopascals per hundred metres"), PressureGradient, 10.0, "Friction loss in kPa per 100 m of hose.", SI).si().decimals(1),
    u("psi/((100gpm)²·100ft)", "psi/((100gpm)^2*100ft)", ("psi per hundred feet at a hundred gpm squared", "psi per hundred feet at a hundred gpm squared"), HoseCoefficient, PSI / (1e4 * GPM * GPM * 100.0 * FOOT), "The fireground coefficient C of C·Q²·L, with Q in hundreds of US gpm, L in hundreds of feet and the loss in psi.", TRADE).us().gallon(Gallon::Us).decimals(3),
    u("kPa/((L/min)²·m)", "kPa/((L/min)^2*m)", ("kilopascal per metre at a litre per minute squared", "kilopascals per metre at a litre per minute squared"), HoseCoefficient, 3.6e12, "Friction loss in kPa for each metre of hose and square of the flow in L/min.", TRADE).si(),
    u("gpm/psi^0.5", "gpm/psi^0.5", ("gpm per root psi", "gpm per root psi"), FlowCoefficient, GPM / 83.034_675_245_757_19, "K factor of a discharge in US gpm and psi.", TRADE).us().gallon(Gallon::Us).decimals(2),
    u("L/min/bar^0.5", "L/min/bar^0.5", ("litre per minute per root bar", "litres per minute per root bar"), FlowCoefficient, 1e-3 / 60.0 / 316.227_766_016_837_94, "K factor of a discharge in L/min and bar.", TRADE).si().decimals(1),
    u("L/min/kPa^0.5", "L/min/kPa^0.5", ("litre per minute per root kilopascal", "litres per minute per root kilopascal"), FlowCoefficient, 1e-3 / 60.0 / 31.622_776_601_683_793, "K factor of a discharge in L/min and kPa.", TRADE).si().decimals(2),
];

/// Every unit, in a stable order by subject.
pub fn units() -> &'static [Unit] {
    UNITS
}

static BY_SPELLING: LazyLock<HashMap<String, &'static Unit>> = LazyLock::new(|| {
    let mut map = HashMap::new();
    for unit in UNITS {
        for spelling in unit.spellings() {
            map.insert(normalise(spelling), unit);
        }
    }
    map
});

/// The unit with exactly this spelling (symbol, ASCII or alias, in any accepted writing of the signs).
///
/// Compound text that is not itself in the table is read by [`crate::parse_unit`].
pub fn unit(name: &str) -> Option<&'static Unit> {
    // The usual case is a plain ASCII word that needs no rewriting.
    if let Some(found) = BY_SPELLING.get(name) {
        return Some(found);
    }
    BY_SPELLING.get(normalise(name).as_str()).copied()
}

/// Units of the kinds that `kind` accepts, in table order; what completion offers after a number.
pub fn units_for(kind: Kind) -> impl Iterator<Item = &'static Unit> {
    UNITS
        .iter()
        .filter(move |unit| kind.accepts(unit.kind).is_yes())
}
