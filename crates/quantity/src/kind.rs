//! Kinds of quantity: a dimension together with what it means, and the algebra between kinds.
//!
//! Purpose: decide which sums, products, comparisons and assignments make sense to a pump engineer, and when one does
//! not, say which slip it most likely is.
//! Invariants: every kind except [`Kind::Other`] stands once in [`KINDS`]; a point kind names its difference kind, and
//! the difference is not a point; the result of an allowed operation always has the dimension the operation implies.
//! Not here: numbers and units. The rules look at kinds only; what a unit adds is in [`crate::CompoundUnit::accepted_by`].
//!
//! The rules in short:
//! * gauge, absolute and barometric pressure, vacuum readings and temperature are *points*; point − point is a
//!   difference, point ± difference is a point, point + point is refused. Three sums of unlike points are the trade's
//!   own and are allowed: gauge + vacuum (net pressure at draft), gauge + barometric and barometric − vacuum (absolute).
//! * a plain `psi` or `kPa` leaves its reference unsaid. It counts as a difference; a gauge, vacuum or barometer field
//!   takes it as read on that instrument, an absolute field does not.
//! * a kelvin has no offset to betray which is meant, so `K` is both a temperature and a difference until it meets one.
//! * force × length is torque or energy; the place it is stored in decides. Torque and energy never mix.
//! * angle is a dimension: rev/s and Hz differ by one revolution, and radius × speed of rotation is a speed only after
//!   dividing by `1 rad`.

use std::borrow::Cow;
use std::fmt;

use crate::dimension::Dimension;
use crate::slip::LikelySlip;

/// What the table of kinds says about one kind.
#[derive(Copy, Clone, Debug)]
pub struct KindInfo {
    /// The kind described.
    pub kind: Kind,
    /// Its name in words, for messages: `gauge pressure`.
    pub name: &'static str,
    /// Its dimension.
    pub dimension: Dimension,
    /// For a point, the kind of the difference of two of them.
    pub difference: Option<Kind>,
    /// What it means, one or two sentences.
    pub doc: &'static str,
}

macro_rules! kinds {
    ($($variant:ident, $name:literal, $dimension:expr, $difference:expr, $doc:literal;)*) => {
        /// A kind of quantity: a dimension and a meaning. Values of one kind are kept in the coherent SI unit.
        #[derive(Copy, Clone, PartialEq, Eq, Hash, Debug)]
        pub enum Kind {
            $(#[doc = $doc] $variant,)*
            /// Any dimension without a name of its own, as it comes up inside an expression. Build it with
            /// [`Kind::of_dimension`], so that a dimension that has a name gets it.
            Other(Dimension),
        }

        /// Every named kind. Where several kinds share a dimension, the first is the one a plain product gives.
        pub static KINDS: &[KindInfo] = &[
            $(KindInfo {
                kind: Kind::$variant,
                name: $name,
                dimension: $dimension,
                difference: $difference,
                doc: $doc,
            },)*
        ];

        impl Kind {
            /// The table entry; `None` for [`Kind::Other`].
            pub fn info(self) -> Option<&'static KindInfo> {
                let mut index = 0usize;
                $(
                    if matches!(self, Kind::$variant) { return KINDS.get(index); }
                    index += 1;
                )*
                let _ = index;
                None
            }
        }
    };
}

const fn dim(length: i8, mass: i8, time: i8, temperature: i8, angle: i8) -> Dimension {
    Dimension::whole(length, mass, time, temperature, angle)
}

const PRESSURE: Dimension = dim(-1, 1, -2, 0, 0);
const WORK: Dimension = dim(2, 1, -2, 0, 0);

kinds! {
    Number, "plain number", Dimension::NONE, None, "A bare number without a unit.";
    Ratio, "ratio", Dimension::NONE, None, "A share of one, written as a bare number or in percent.";
    Count, "count", Dimension::NONE, None, "A whole number of things, such as vanes or stages.";
    Hardness, "hardness", Dimension::NONE, None, "Brinell hardness number (ISO 6506).";
    Length, "length", Dimension::LENGTH, None, "A length, diameter, clearance, lift or run of hose.";
    Head, "head", Dimension::LENGTH, None, "Energy of the water per unit weight, as a height of the water pumped. It becomes a pressure only with a stated density.";
    Area, "area", dim(2, 0, 0, 0, 0), None, "An area.";
    Volume, "volume", dim(3, 0, 0, 0, 0), None, "A volume. US and imperial gallons are different units of it.";
    Mass, "mass", Dimension::MASS, None, "A mass. The pound here is the pound mass; the pound force is lbf.";
    Time, "time", Dimension::TIME, None, "A duration.";
    Speed, "speed", dim(1, 0, -1, 0, 0), None, "Velocity of water or of a surface.";
    Acceleration, "acceleration", dim(1, 0, -2, 0, 0), None, "Change of velocity with time.";
    Angle, "angle", Dimension::ANGLE, None, "A plane angle. It is a dimension of its own here, so that a revolution and a radian are never mixed up.";
    RotationalSpeed, "speed of rotation", dim(0, 0, -1, 0, 1), None, "Angle turned per time, usually in revolutions per minute.";
    Frequency, "frequency", dim(0, 0, -1, 0, 0), None, "Events per time, such as vanes passing the cutwater.";
    Flow, "flow", dim(3, 0, -1, 0, 0), None, "Volume of water per time.";
    MassFlow, "mass flow", dim(0, 1, -1, 0, 0), None, "Mass of water per time.";
    Pressure, "pressure difference", PRESSURE, None, "A difference of two pressures: net pump pressure, a loss, a drop. A plain psi, kPa or bar is of this kind.";
    GaugePressure, "gauge pressure", PRESSURE, Some(Kind::Pressure), "Pressure above the atmosphere around the gauge.";
    AbsolutePressure, "absolute pressure", PRESSURE, Some(Kind::Pressure), "Pressure above a perfect vacuum, such as vapour pressure.";
    BarometricPressure, "barometric pressure", PRESSURE, Some(Kind::Pressure), "Absolute pressure of the atmosphere, as a barometer at the place reads it (not corrected to sea level).";
    Vacuum, "vacuum reading", PRESSURE, Some(Kind::Pressure), "How far a pressure lies below the atmosphere; 11 inHg of vacuum is a positive reading.";
    Stress, "stress", PRESSURE, None, "Force per area inside a material, its strength, or its modulus of elasticity.";
    TemperatureDifference, "temperature difference", Dimension::TEMPERATURE, None, "A rise, drop or tolerance of temperature.";
    Temperature, "temperature", Dimension::TEMPERATURE, Some(Kind::TemperatureDifference), "A temperature on a scale. Kept in kelvin.";
    Kelvin, "temperature in kelvin", Dimension::TEMPERATURE, None, "A number of kelvins (or degrees Rankine) of which the unit does not say whether it is a temperature or a difference.";
    Density, "density", dim(-3, 1, 0, 0, 0), None, "Mass per volume.";
    DynamicViscosity, "dynamic viscosity", dim(-1, 1, -1, 0, 0), None, "Viscosity as shear stress per velocity gradient.";
    KinematicViscosity, "kinematic viscosity", dim(2, 0, -1, 0, 0), None, "Dynamic viscosity divided by density.";
    Power, "power", dim(2, 1, -3, 0, 0), None, "Work per time.";
    ForceLength, "force times length", WORK, None, "Force times length, of which the unit does not say whether it is torque or energy.";
    Torque, "torque", WORK, None, "Turning moment.";
    Energy, "energy", WORK, None, "Work or heat.";
    Force, "force", dim(1, 1, -2, 0, 0), None, "A force, such as nozzle reaction or thrust.";
    Unbalance, "unbalance", dim(1, 1, 0, 0, 0), None, "Mass times its distance from the axis (ISO 21940-2).";
    MomentOfInertia, "moment of inertia", dim(2, 1, 0, 0, 0), None, "Mass times the square of its distance from the axis.";
    Expansion, "thermal expansion coefficient", dim(0, 0, 0, -1, 0), None, "Relative growth in length for each degree of temperature.";
    SpecificHeat, "specific heat", dim(2, 0, -2, -1, 0), None, "Heat to warm one unit of mass by one degree.";
    Stiffness, "stiffness", dim(0, 1, -2, 0, 0), None, "Force per deflection.";
    PressureGradient, "pressure gradient", dim(-2, 1, -2, 0, 0), None, "Pressure per length, such as friction loss per 100 ft of hose.";
    HoseCoefficient, "hose friction coefficient", dim(-8, 1, 0, 0, 0), None, "Pressure loss per square of the flow and per length of hose.";
    FlowCoefficient, "flow coefficient", Dimension::sixths([21, -3, 0, 0, 0]), None, "Flow per square root of pressure (the K factor of a discharge).";
}

/// Which operation was refused.
#[derive(Copy, Clone, PartialEq, Eq, Hash, Debug)]
pub enum Operation {
    /// Putting a value where another kind is expected.
    Store,
    /// Addition.
    Add,
    /// Subtraction.
    Subtract,
    /// Comparison.
    Compare,
    /// Multiplication.
    Multiply,
    /// Division.
    Divide,
    /// Raising to a power or taking a root.
    Power,
    /// Changing the sign.
    Negate,
}

/// Why two kinds do not go together; enough to write a message that teaches.
#[derive(Clone, PartialEq, Debug)]
pub struct Mismatch {
    /// What was attempted.
    pub operation: Operation,
    /// The expected kind, or the left side of an operation.
    pub expected: Kind,
    /// The kind given, or the right side of an operation (the same as `expected` for a power or a change of sign).
    pub given: Kind,
    /// What it most likely is, where the pair is a well-known mix-up.
    pub slip: Option<LikelySlip>,
    /// How the dimensions differ, in words: `needs one more length`. Only for storing, adding, subtracting, comparing.
    pub gap: Option<String>,
    /// A unit to write instead of the one given, where the unit is known and one is likely meant.
    pub replacement: Option<&'static str>,
}

impl Mismatch {
    pub(crate) fn new(operation: Operation, expected: Kind, given: Kind) -> Self {
        let same_sort = matches!(
            operation,
            Operation::Store | Operation::Add | Operation::Subtract | Operation::Compare
        );
        let mut slip = LikelySlip::between(operation, expected, given);
        let gap = same_sort
            .then(|| expected.dimension().gap_words(given.dimension()))
            .flatten();
        if slip.is_none() && gap.is_some() && given.dimension().is_none() {
            slip = Some(LikelySlip::UnitMissing);
        }
        Self {
            operation,
            expected,
            given,
            slip,
            gap,
            replacement: None,
        }
    }

    fn with_slip(mut self, slip: LikelySlip) -> Self {
        self.slip = Some(slip);
        self
    }
}

impl fmt::Display for Mismatch {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (a, b) = (self.expected.name(), self.given.name());
        match self.operation {
            Operation::Store => write!(f, "expected a value of kind {a}, found {b}")?,
            Operation::Add => write!(f, "cannot add {a} and {b}")?,
            Operation::Subtract => write!(f, "cannot subtract {b} from {a}")?,
            Operation::Compare => write!(f, "cannot compare {a} with {b}")?,
            Operation::Multiply => write!(f, "cannot multiply {a} by {b}")?,
            Operation::Divide => write!(f, "cannot divide {a} by {b}")?,
            Operation::Power => write!(f, "cannot raise {a} to this power")?,
            Operation::Negate => write!(f, "cannot change the sign of {a}")?,
        }
        if let Some(slip) = self.slip {
            write!(f, ": {}", slip.text())?;
        } else if let Some(gap) = &self.gap {
            write!(f, ": the value {gap}")?;
        }
        if let Some(unit) = self.replacement {
            write!(f, "; write `{unit}`")?;
        }
        Ok(())
    }
}

impl std::error::Error for Mismatch {}

/// Whether a value of one kind may stand where another is expected.
#[derive(Clone, PartialEq, Debug)]
pub enum Accept {
    /// Yes, it is the same kind or a spelling of it.
    Yes,
    /// Yes, by a rule worth showing to the reader; the text says which.
    YesBy(&'static str),
    /// No, and why.
    No(Mismatch),
}

impl Accept {
    /// True for [`Accept::Yes`] and [`Accept::YesBy`].
    pub fn is_yes(&self) -> bool {
        !matches!(self, Self::No(_))
    }
}

impl Kind {
    /// Words for messages: `gauge pressure`. An unnamed kind is described by its dimension.
    pub fn name(self) -> Cow<'static, str> {
        match (self, self.info()) {
            (_, Some(info)) => Cow::Borrowed(info.name),
            (Kind::Other(dimension), None) => Cow::Owned(format!("quantity of {dimension}")),
            (_, None) => Cow::Borrowed("quantity"),
        }
    }

    /// Its dimension.
    pub fn dimension(self) -> Dimension {
        match self {
            Kind::Other(dimension) => dimension,
            named => named.info().map_or(Dimension::NONE, |info| info.dimension),
        }
    }

    /// What it means, for hover and reference pages.
    pub fn doc(self) -> &'static str {
        self.info().map_or(
            "A quantity without a name of its own, as it comes up inside an expression.",
            |info| info.doc,
        )
    }

    /// For a point, the kind of the difference of two of them; `None` for everything else.
    pub fn difference(self) -> Option<Kind> {
        self.info().and_then(|info| info.difference)
    }

    /// True for a reading on a scale whose zero is a convention or a reference (gauge, absolute, vacuum, temperature).
    pub fn is_point(self) -> bool {
        self.difference().is_some()
    }

    /// The kind a tolerance or step on a value of this kind has: the difference for a point, itself otherwise.
    pub fn step(self) -> Kind {
        match self {
            Kind::Kelvin => Kind::TemperatureDifference,
            other => other.difference().unwrap_or(other),
        }
    }

    /// True for kinds without a dimension: number, ratio, count, hardness.
    pub fn is_dimensionless(self) -> bool {
        self.dimension().is_none()
    }

    /// The kind a plain product of this dimension has: the first in [`KINDS`], or [`Kind::Other`].
    pub fn of_dimension(dimension: Dimension) -> Kind {
        KINDS
            .iter()
            .find(|info| info.dimension == dimension)
            .map_or(Kind::Other(dimension), |info| info.kind)
    }

    /// The kind with this name in words, such as `gauge pressure`.
    pub fn by_name(name: &str) -> Option<Kind> {
        KINDS
            .iter()
            .find(|info| info.name == name)
            .map(|info| info.kind)
    }

    /// The kind of `self + other`.
    ///
    /// # Errors
    /// When the sum has no meaning; see the module's rules.
    // These are rules about kinds, not operator traits: they can fail.
    #[allow(clippy::should_implement_trait)]
    pub fn add(self, other: Kind) -> Result<Kind, Mismatch> {
        use Kind::*;
        let refuse = || Err(Mismatch::new(Operation::Add, self, other));
        if let Some(kind) = mix(self, other) {
            return Ok(kind);
        }
        match (self, other) {
            (Kelvin, Temperature) | (Temperature, Kelvin) => Ok(Temperature),
            (GaugePressure, Vacuum) | (Vacuum, GaugePressure) => Ok(Pressure),
            (GaugePressure, BarometricPressure) | (BarometricPressure, GaugePressure) => {
                Ok(AbsolutePressure)
            }
            (BarometricPressure, Pressure) | (Pressure, BarometricPressure) => Ok(AbsolutePressure),
            (point, step) | (step, point)
                if point.difference() == Some(step) && !step.is_point() =>
            {
                Ok(point)
            }
            _ => refuse(),
        }
    }

    /// The kind of `self - other`.
    ///
    /// # Errors
    /// When the difference has no meaning; see the module's rules.
    #[allow(clippy::should_implement_trait)]
    pub fn sub(self, other: Kind) -> Result<Kind, Mismatch> {
        use Kind::*;
        let refuse = || Err(Mismatch::new(Operation::Subtract, self, other));
        if let Some(kind) = mix(self, other) {
            return Ok(kind);
        }
        match (self, other) {
            (a, b) if a == b && a.is_point() => Ok(a.step()),
            (AbsolutePressure, BarometricPressure) | (BarometricPressure, AbsolutePressure) => {
                Ok(Pressure)
            }
            (BarometricPressure, Vacuum) => Ok(AbsolutePressure),
            (BarometricPressure, Pressure) => Ok(AbsolutePressure),
            (Temperature, Kelvin) => Ok(Temperature),
            (Kelvin, Temperature) => Ok(TemperatureDifference),
            (point, step) if point.difference() == Some(step) => Ok(point),
            _ => refuse(),
        }
    }

    /// Whether values of the two kinds may be compared (also for `min`, `max` and ranges).
    ///
    /// # Errors
    /// When neither could stand for the other.
    pub fn comparable(self, other: Kind) -> Result<(), Mismatch> {
        if self.accepts(other).is_yes() || other.accepts(self).is_yes() {
            Ok(())
        } else {
            Err(Mismatch::new(Operation::Compare, self, other))
        }
    }

    /// The kind of `self * other`.
    ///
    /// # Errors
    /// A temperature on a scale cannot be multiplied; the dimension must stay in range.
    #[allow(clippy::should_implement_trait)]
    pub fn mul(self, other: Kind) -> Result<Kind, Mismatch> {
        use Kind::*;
        let refuse = || Mismatch::new(Operation::Multiply, self, other);
        if self == Temperature || other == Temperature {
            return Err(refuse().with_slip(LikelySlip::ScaledTemperature));
        }
        if self.is_dimensionless() && other.is_dimensionless() {
            return Ok(match (self, other) {
                (Hardness, Hardness) => Number,
                (Hardness, _) | (_, Hardness) => Hardness,
                (Ratio, _) | (_, Ratio) => Ratio,
                (Count, Count) => Count,
                _ => Number,
            });
        }
        if other.is_dimensionless() {
            return Ok(self.scaled());
        }
        if self.is_dimensionless() {
            return Ok(other.scaled());
        }
        match (self, other) {
            (Torque | ForceLength, RotationalSpeed) | (RotationalSpeed, Torque | ForceLength) => {
                return Ok(Power);
            }
            (Torque | ForceLength, Angle)
            | (Angle, Torque | ForceLength)
            | (Power, Time)
            | (Time, Power) => return Ok(Energy),
            (pressure, Volume) | (Volume, pressure) if pressure.is_pressure() => return Ok(Energy),
            _ => {}
        }
        self.dimension()
            .mul(other.dimension())
            .map(Kind::of_dimension)
            .ok_or_else(|| refuse().with_slip(LikelySlip::DimensionTooLarge))
    }

    /// The kind of `self / other`. Like by like gives a plain number.
    ///
    /// # Errors
    /// A temperature on a scale cannot be divided; the dimension must stay in range.
    #[allow(clippy::should_implement_trait)]
    pub fn div(self, other: Kind) -> Result<Kind, Mismatch> {
        use Kind::*;
        let refuse = || Mismatch::new(Operation::Divide, self, other);
        if self == Temperature || other == Temperature {
            return Err(refuse().with_slip(LikelySlip::ScaledTemperature));
        }
        if self.is_dimensionless() && other.is_dimensionless() {
            return Ok(match (self, other) {
                (a, b) if a == b => Number,
                (Hardness, Number | Ratio) => Hardness,
                (Ratio, Number) => Ratio,
                _ => Number,
            });
        }
        if other.is_dimensionless() {
            return Ok(self.scaled());
        }
        match (self, other) {
            (Power, RotationalSpeed) => return Ok(Torque),
            (Energy, Angle) => return Ok(Torque),
            (Power, Torque) => return Ok(RotationalSpeed),
            (Energy, Torque) => return Ok(Angle),
            _ => {}
        }
        self.dimension()
            .div(other.dimension())
            .map(Kind::of_dimension)
            .ok_or_else(|| refuse().with_slip(LikelySlip::DimensionTooLarge))
    }

    /// The kind of `self ^ (num/den)`.
    ///
    /// # Errors
    /// When the kind is a temperature on a scale, or a dimension would get an exponent that is not a whole number of
    /// sixths within ±21 (such as a fifth root of a length), or `den` is 0.
    pub fn pow(self, num: i32, den: i32) -> Result<Kind, Mismatch> {
        let refuse = || Mismatch::new(Operation::Power, self, self);
        if den == 0 {
            return Err(refuse().with_slip(LikelySlip::BrokenExponent));
        }
        if num == den {
            return Ok(self);
        }
        if self.is_dimensionless() {
            return Ok(Kind::Number);
        }
        if self == Kind::Temperature {
            return Err(refuse().with_slip(LikelySlip::ScaledTemperature));
        }
        self.dimension()
            .powf(num, den)
            .map(Kind::of_dimension)
            .ok_or_else(|| refuse().with_slip(LikelySlip::BrokenExponent))
    }

    /// The kind of `-self`. A vacuum reading turned over is a gauge pressure, and the other way round.
    ///
    /// A minus sign on a literal is part of its number (`-5 degC` is a temperature), so it does not come here.
    ///
    /// # Errors
    /// Temperatures on a scale and absolute pressures have no negative.
    #[allow(clippy::should_implement_trait)]
    pub fn neg(self) -> Result<Kind, Mismatch> {
        match self {
            Kind::Vacuum => Ok(Kind::GaugePressure),
            Kind::GaugePressure => Ok(Kind::Vacuum),
            Kind::Temperature => Err(Mismatch::new(Operation::Negate, self, self)
                .with_slip(LikelySlip::ScaledTemperature)),
            Kind::AbsolutePressure | Kind::BarometricPressure => {
                Err(Mismatch::new(Operation::Negate, self, self))
            }
            other => Ok(other),
        }
    }

    /// Whether a value of kind `given` may be stored where `self` is expected.
    ///
    /// A unit can say more than its kind; where one is at hand use [`crate::CompoundUnit::accepted_by`], which also
    /// offers a replacement.
    pub fn accepts(self, given: Kind) -> Accept {
        use Kind::*;
        match (self, given) {
            (a, b) if a == b => Accept::Yes,
            (Number, Ratio | Count) | (Ratio, Number) | (Count, Number) | (Head, Length) => {
                Accept::Yes
            }
            (Stress, Pressure) | (Torque | Energy, ForceLength) => Accept::Yes,
            (Temperature | TemperatureDifference, Kelvin) => Accept::Yes,
            (AbsolutePressure, BarometricPressure) | (BarometricPressure, AbsolutePressure) => {
                Accept::Yes
            }
            (Ratio, Count) => Accept::YesBy("a count is a plain number here"),
            (Hardness, Number) => Accept::YesBy("a plain number is read as Brinell hardness"),
            (Length, Head) => Accept::YesBy("a head is a length of water"),
            (GaugePressure, Pressure) => Accept::YesBy(
                "a plain pressure unit is read as gauge pressure here, as on a pump panel",
            ),
            (Vacuum, Pressure) => {
                Accept::YesBy("a plain pressure unit is read as a vacuum below the atmosphere here")
            }
            (BarometricPressure, Pressure) => {
                Accept::YesBy("a barometer reads absolute pressure, so the unit need not say it")
            }
            (Pressure, Vacuum) => {
                Accept::YesBy("a vacuum reading is a difference from the atmosphere")
            }
            (Pressure, Stress) => Accept::YesBy("stress and pressure are both force over area"),
            (ForceLength, Torque | Energy) => Accept::YesBy("torque and energy are force × length"),
            (Kelvin, Temperature | TemperatureDifference) => {
                Accept::YesBy("both are kept in kelvin")
            }
            _ => Accept::No(Mismatch::new(Operation::Store, self, given)),
        }
    }

    /// True for everything of the dimension of pressure.
    pub fn is_pressure(self) -> bool {
        self.dimension() == PRESSURE
    }

    /// The kind after multiplying by a plain number: a gauge or vacuum reading becomes a difference from the atmosphere.
    fn scaled(self) -> Kind {
        match self {
            Kind::GaugePressure | Kind::Vacuum => Kind::Pressure,
            Kind::BarometricPressure => Kind::AbsolutePressure,
            Kind::Kelvin => Kind::TemperatureDifference,
            other => other,
        }
    }
}

/// The kind of a sum or difference of two kinds that are not points; `None` when another rule must decide.
fn mix(a: Kind, b: Kind) -> Option<Kind> {
    use Kind::*;
    if a.is_point() || b.is_point() {
        return None;
    }
    Some(match (a, b) {
        (a, b) if a == b => a,
        (Number, Ratio) | (Ratio, Number) => Ratio,
        (Number | Ratio | Count, Number | Ratio | Count) => Number,
        (Hardness, Number) | (Number, Hardness) => Hardness,
        (Length, Head) | (Head, Length) => Head,
        (Pressure, Stress) | (Stress, Pressure) => Stress,
        (ForceLength, Torque) | (Torque, ForceLength) => Torque,
        (ForceLength, Energy) | (Energy, ForceLength) => Energy,
        (Kelvin, TemperatureDifference) => Kelvin,
        (TemperatureDifference, Kelvin) => TemperatureDifference,
        _ => return None,
    })
}
