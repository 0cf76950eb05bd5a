//! The mix-ups people make between kinds of quantity and between units.
//!
//! Purpose: name the likely slip behind a refused unit or operation, in one line, and where possible the unit meant.
//! Invariants: every replacement is a unit in the table, of a kind the expected kind accepts.
//! Not here: the wording of whole findings, which belongs to whoever raises them.

use crate::kind::{Kind, Operation};

/// A well-known mix-up.
#[derive(Copy, Clone, PartialEq, Eq, Hash, Debug)]
pub enum LikelySlip {
    /// A plain psi where absolute pressure is expected.
    ReferenceUnstated,
    /// Gauge pressure where absolute is expected.
    GaugeForAbsolute,
    /// Absolute pressure where gauge is expected.
    AbsoluteForGauge,
    /// A reading where a difference of two pressures is expected.
    ReadingForDifference,
    /// A vacuum reading where gauge pressure is expected.
    VacuumForGauge,
    /// Gauge pressure where a vacuum reading is expected.
    GaugeForVacuum,
    /// A vacuum reading where absolute pressure is expected, or the other way round.
    VacuumAndAbsolute,
    /// A vacuum reading subtracted from a gauge pressure.
    VacuumSubtracted,
    /// A reading subtracted from a plain pressure.
    ReadingFromDifference,
    /// Two readings added.
    PointsAdded,
    /// Two readings against different references subtracted.
    MixedReferences,
    /// A length or head where a pressure is expected.
    LengthForPressure,
    /// A pressure where a length or head is expected.
    PressureForLength,
    /// A temperature where a difference is expected.
    TemperatureForDifference,
    /// A temperature difference where a temperature is expected.
    DifferenceForTemperature,
    /// A temperature on a scale multiplied, divided, raised to a power or turned in sign.
    ScaledTemperature,
    /// Energy where torque is expected.
    EnergyForTorque,
    /// Torque where energy is expected.
    TorqueForEnergy,
    /// Mass where force is expected.
    MassForForce,
    /// Force where mass is expected.
    ForceForMass,
    /// Mass times length where torque is expected.
    UnbalanceForTorque,
    /// Force times length where unbalance is expected.
    TorqueForUnbalance,
    /// A mass where unbalance is expected.
    MassForUnbalance,
    /// Frequency where speed of rotation is expected.
    FrequencyForRotation,
    /// Speed of rotation where frequency is expected.
    RotationForFrequency,
    /// Speed of rotation where the speed of a surface is expected, or the other way round.
    RotationForSpeed,
    /// An angle is left over in a product.
    AngleLeft,
    /// Mass per length² where pressure is expected: pound mass for pound force.
    MassForForceInPressure,
    /// A volume where a flow is expected.
    VolumeForFlow,
    /// A flow where a volume is expected.
    FlowForVolume,
    /// Mass flow where volume flow is expected, or the other way round.
    MassAndVolumeFlow,
    /// Power where energy is expected.
    PowerForEnergy,
    /// Energy where power is expected.
    EnergyForPower,
    /// Dynamic viscosity where kinematic is expected.
    DynamicForKinematic,
    /// Kinematic viscosity where dynamic is expected.
    KinematicForDynamic,
    /// A bare number where a unit is expected.
    UnitMissing,
    /// A unit where a bare number is expected.
    UnitNotWanted,
    /// A share or percentage where a whole number of things is expected.
    RatioForCount,
    /// An exponent that leaves a dimension without a meaning.
    BrokenExponent,
    /// A product whose dimension is beyond any physical quantity.
    DimensionTooLarge,
}

impl LikelySlip {
    /// One line for a message, without a capital or a full stop.
    pub fn text(self) -> &'static str {
        use LikelySlip::*;
        match self {
            ReferenceUnstated => {
                "a plain pressure unit does not say what it is measured from; use an absolute unit such as psia, or add the atmospheric pressure"
            }
            GaugeForAbsolute => {
                "gauge pressure starts at the atmosphere, absolute pressure at a perfect vacuum; add the atmospheric pressure"
            }
            AbsoluteForGauge => {
                "absolute pressure includes the atmosphere, a gauge does not show it; subtract the atmospheric pressure, or use a gauge unit such as psig"
            }
            ReadingForDifference => {
                "this is one reading, not a difference; subtract the other reading"
            }
            VacuumForGauge => {
                "a vacuum reading counts down from the atmosphere; as gauge pressure it is the same number with a minus sign"
            }
            GaugeForVacuum => {
                "gauge pressure counts up from the atmosphere; as a vacuum reading it is the same number with a minus sign"
            }
            VacuumAndAbsolute => {
                "a vacuum reading counts down from the atmosphere; absolute pressure is the atmospheric pressure minus the vacuum reading"
            }
            VacuumSubtracted => {
                "a vacuum reading counts down from the atmosphere, so the difference is the gauge pressure plus the vacuum reading"
            }
            ReadingFromDifference => {
                "a reading can be subtracted from another reading of the same sort only; if the first is a reading too, give it a gauge unit such as psig"
            }
            PointsAdded => {
                "two readings cannot be added, only a reading and a difference; did you mean to subtract them?"
            }
            MixedReferences => {
                "the two readings start from different zeros; bring both to the same reference first"
            }
            LengthForPressure => {
                "a length of water is not a pressure until its density is stated; use ftH2O or mH2O for the conventional column"
            }
            PressureForLength => {
                "a pressure becomes a head only with a stated water density; divide by density and gravity"
            }
            TemperatureForDifference => {
                "this is a temperature on the scale; for a rise or a difference use delta_degF or delta_degC"
            }
            DifferenceForTemperature => {
                "this is a temperature difference; for a temperature on the scale use degF or degC"
            }
            ScaledTemperature => {
                "a temperature on a scale has no meaningful multiple; subtract a reference temperature first"
            }
            EnergyForTorque => {
                "energy and torque share a formula but are different things; give torque as lbf*ft or N*m"
            }
            TorqueForEnergy => {
                "torque and energy share a formula but are different things; multiply by the angle turned, or give energy in J or Btu"
            }
            MassForForce => "lb, kg and g are masses; for a force use lbf, N or kgf",
            ForceForMass => "lbf, N and kgf are forces; for a mass use lb, kg or g",
            UnbalanceForTorque => {
                "mass times length is unbalance; for torque use pound force, lbf*ft or lbf*in"
            }
            TorqueForUnbalance => {
                "force times length is torque; unbalance is mass times distance, oz*in, lb*in or g*mm"
            }
            MassForUnbalance => {
                "unbalance is a mass times its distance from the axis, such as oz*in or g*mm; multiply by the radius"
            }
            FrequencyForRotation => {
                "hertz counts events, not revolutions; for speed of rotation use rpm or rev/s"
            }
            RotationForFrequency => {
                "this is a speed of rotation; divide by `1 rev` for revolutions per time"
            }
            RotationForSpeed => {
                "speed of rotation and speed of a surface differ by a radius; the surface moves at radius × rotation / `1 rad`"
            }
            AngleLeft => {
                "an angle is left over: divide by `1 rad` where the formula counts radians (radius × rotation), by `1 rev` where it counts revolutions (π × diameter × revolutions)"
            }
            MassForForceInPressure => "pressure is force over area; use pound force, lbf, not lb",
            VolumeForFlow => {
                "this is a volume; a flow is a volume per time, such as gpm, igpm or L/min"
            }
            FlowForVolume => {
                "this is a flow; multiply by the time, or use a volume such as gal or L"
            }
            MassAndVolumeFlow => "mass flow and volume flow differ by the density",
            PowerForEnergy => "this is power; multiply by the time, or use energy such as kWh or J",
            EnergyForPower => "this is energy; divide by the time, or use power such as hp or kW",
            DynamicForKinematic => {
                "cP and Pa*s are dynamic viscosity; divide by the density, or use cSt or ft^2/s"
            }
            KinematicForDynamic => {
                "cSt and ft^2/s are kinematic viscosity; multiply by the density, or use cP or Pa*s"
            }
            UnitMissing => "a bare number is a count or a ratio; write its unit",
            UnitNotWanted => "a plain number is expected here, without a unit",
            RatioForCount => "a whole number of things is expected here, not a share",
            BrokenExponent => {
                "this power leaves a dimension with a broken exponent; only roots and powers that give whole sixths are possible"
            }
            DimensionTooLarge => "the product has a dimension beyond any physical quantity",
        }
    }

    /// The slip behind an operation on these two kinds, where it is a known one.
    pub fn between(operation: Operation, expected: Kind, given: Kind) -> Option<Self> {
        use Kind::*;
        use LikelySlip::*;
        if operation == Operation::Subtract {
            match (expected, given) {
                (GaugePressure, Vacuum) => return Some(VacuumSubtracted),
                (a, b) if a.is_point() && b.is_point() && a.dimension() == b.dimension() => {
                    return Some(MixedReferences);
                }
                (a, b) if b.difference() == Some(a) => return Some(ReadingFromDifference),
                _ => {}
            }
        }
        if operation == Operation::Add
            && expected.is_point()
            && given.is_point()
            && expected.dimension() == given.dimension()
        {
            return Some(PointsAdded);
        }
        if !matches!(
            operation,
            Operation::Store | Operation::Add | Operation::Subtract | Operation::Compare
        ) {
            return None;
        }
        let slip = directed(expected, given);
        if slip.is_some() || operation == Operation::Store {
            return slip;
        }
        // In a sum or comparison neither side is the expected one.
        directed(given, expected)
    }

    /// The unit to write instead of `written`, where this slip and that unit make one likely. Both are normal spellings.
    pub(crate) fn replacement(self, expected: Kind, written: &str) -> Option<&'static str> {
        use LikelySlip::*;
        let pairs: &[(&str, &'static str)] = match self {
            ReferenceUnstated => &[
                ("psi", "psia"),
                ("kPa", "kPaa"),
                ("bar", "bara"),
                ("mbar", "mbara"),
                ("hPa", "hPaa"),
                ("inHg", "inHga"),
                ("mmHg", "mmHga"),
            ],
            GaugeForAbsolute => &[("psig", "psia"), ("kPag", "kPaa"), ("barg", "bara")],
            VacuumAndAbsolute => match expected {
                Kind::Vacuum => &[
                    ("inHga", "inHg"),
                    ("mmHga", "mmHg"),
                    ("kPaa", "kPa"),
                    ("psia", "psi"),
                ],
                _ => &[
                    ("inHg_vac", "inHga"),
                    ("mmHg_vac", "mmHga"),
                    ("kPa_vac", "kPaa"),
                ],
            },
            AbsoluteForGauge => &[("psia", "psig"), ("kPaa", "kPag"), ("bara", "barg")],
            ReadingForDifference => &[
                ("psig", "psi"),
                ("psia", "psi"),
                ("kPag", "kPa"),
                ("kPaa", "kPa"),
                ("barg", "bar"),
                ("bara", "bar"),
                ("inHga", "inHg"),
                ("mmHga", "mmHg"),
            ],
            LengthForPressure => &[("ft", "ftH2O"), ("in", "inH2O"), ("m", "mH2O")],
            PressureForLength => &[("ftH2O", "ft"), ("inH2O", "in"), ("mH2O", "m")],
            TemperatureForDifference => &[("degF", "delta_degF"), ("degC", "delta_degC")],
            DifferenceForTemperature => &[("delta_degF", "degF"), ("delta_degC", "degC")],
            MassForForce => &[("lb", "lbf"), ("kg", "kgf")],
            ForceForMass => &[("lbf", "lb"), ("kgf", "kg")],
            UnbalanceForTorque => &[
                ("lb*in", "lbf*in"),
                ("lb*ft", "lbf*ft"),
                ("ft*lb", "lbf*ft"),
                ("in*lb", "lbf*in"),
                ("kg*m", "kgf*m"),
            ],
            TorqueForUnbalance => &[("lbf*in", "lb*in"), ("kgf*m", "kg*m")],
            MassForUnbalance => &[("oz", "oz*in"), ("g", "g*mm"), ("lb", "lb*in")],
            FrequencyForRotation => &[("Hz", "rev/s")],
            RotationForFrequency => &[("rev/s", "Hz")],
            MassForForceInPressure => &[("lb/in^2", "psi"), ("kg/cm^2", "kgf/cm^2")],
            VolumeForFlow => &[("gal", "gpm"), ("impgal", "igpm"), ("L", "L/min")],
            FlowForVolume => &[("gpm", "gal"), ("igpm", "impgal"), ("L/min", "L")],
            PowerForEnergy => &[("kW", "kWh")],
            EnergyForPower => &[("kWh", "kW")],
            _ => &[],
        };
        pairs
            .iter()
            .find(|(from, _)| *from == written)
            .map(|(_, to)| *to)
    }
}

fn directed(expected: Kind, given: Kind) -> Option<LikelySlip> {
    use Kind::*;
    use LikelySlip::*;
    Some(match (expected, given) {
        (AbsolutePressure, Pressure) => ReferenceUnstated,
        (AbsolutePressure | BarometricPressure, GaugePressure) => GaugeForAbsolute,
        (GaugePressure, AbsolutePressure | BarometricPressure) => AbsoluteForGauge,
        (Pressure, GaugePressure | AbsolutePressure | BarometricPressure) => ReadingForDifference,
        (GaugePressure, Vacuum) => VacuumForGauge,
        (Vacuum, GaugePressure) => GaugeForVacuum,
        (AbsolutePressure | BarometricPressure, Vacuum)
        | (Vacuum, AbsolutePressure | BarometricPressure) => VacuumAndAbsolute,
        (p, Length | Head) if p.is_pressure() => LengthForPressure,
        (Length | Head, p) if p.is_pressure() => PressureForLength,
        (TemperatureDifference, Temperature) => TemperatureForDifference,
        (Temperature, TemperatureDifference) => DifferenceForTemperature,
        (Torque, Energy) => EnergyForTorque,
        (Energy, Torque) => TorqueForEnergy,
        (Force, Mass) => MassForForce,
        (Mass, Force) => ForceForMass,
        (Torque | ForceLength, Unbalance) => UnbalanceForTorque,
        (Unbalance, Torque | ForceLength) => TorqueForUnbalance,
        (Unbalance, Mass) => MassForUnbalance,
        (RotationalSpeed, Frequency) => FrequencyForRotation,
        (Frequency, RotationalSpeed) => RotationForFrequency,
        (RotationalSpeed, Speed) | (Speed, RotationalSpeed) => RotationForSpeed,
        (Flow, Volume) => VolumeForFlow,
        (Volume, Flow) => FlowForVolume,
        (Flow, MassFlow) | (MassFlow, Flow) => MassAndVolumeFlow,
        (Energy, Power) => PowerForEnergy,
        (Power, Energy | ForceLength) => EnergyForPower,
        (KinematicViscosity, DynamicViscosity) => DynamicForKinematic,
        (DynamicViscosity, KinematicViscosity) => KinematicForDynamic,
        (Count, Ratio) => RatioForCount,
        (a, b) if a.is_dimensionless() && !b.is_dimensionless() => {
            if b == Angle {
                AngleLeft
            } else {
                UnitNotWanted
            }
        }
        (a, b) if !a.is_dimensionless() && b.is_dimensionless() => UnitMissing,
        (a, b) => {
            let off = a.dimension().div(b.dimension())?;
            if off.as_sixths()[..4] == [0; 4] && !off.is_none() {
                AngleLeft
            } else if a.is_pressure() && b.dimension() == crate::Dimension::whole(-2, 1, 0, 0, 0) {
                MassForForceInPressure
            } else {
                return None;
            }
        }
    })
}
