//! The models against reference cases made with general-purpose libraries. Each test names the source; the tolerances
//! are those stated with the cases.

mod common;

use common::{FT, GPM, INCH, PSI, cases, cases_of, close, expected, input, near};
use cutwater_hydraulics::affinity::{self, Duty, TrimLaw};
use cutwater_hydraulics::curve::Curve;
use cutwater_hydraulics::nozzle::{self, CoefficientSense, Nozzle};
use cutwater_hydraulics::service::{self, Limits, Verdict};
use cutwater_hydraulics::supply::{Draft, Most};
use cutwater_hydraulics::water::{Water, boiling_temperature};
use cutwater_hydraulics::{atmosphere, friction};
use serde_json::Value;
use std::f64::consts::PI;

fn numbers(v: &Value) -> Vec<f64> {
    v.as_array()
        .unwrap()
        .iter()
        .map(|x| x.as_f64().unwrap())
        .collect()
}

fn name(c: &Value) -> String {
    c["id"].as_str().unwrap().to_owned()
}

/// Source: iapws 1.5.5, IAPWS-95 (R6-95) and R12-08.
#[test]
fn water() {
    let mut ran = 0;
    for c in cases("02_water_properties.json") {
        let id = name(&c);
        match c["kind"].as_str().unwrap() {
            "liquid" => {
                let t = input(&c, "temperature_C") + 273.15;
                let w = Water::at(t, input(&c, "pressure_Pa")).unwrap();
                close(w.density, expected(&c, "density_kg_m3"), 5e-5, &id);
                close(
                    w.viscosity,
                    expected(&c, "dynamic_viscosity_Pa_s"),
                    1e-3,
                    &id,
                );
                close(
                    w.kinematic_viscosity(),
                    expected(&c, "kinematic_viscosity_m2_s"),
                    1e-3,
                    &id,
                );
                close(
                    w.specific_heat,
                    expected(&c, "specific_heat_J_kgK"),
                    1e-3,
                    &id,
                );
                close(w.sound_speed, expected(&c, "sound_speed_m_s"), 3e-3, &id);
                close(
                    w.bulk_modulus(),
                    expected(&c, "bulk_modulus_isentropic_Pa"),
                    5e-3,
                    &id,
                );
                near(
                    w.thermal_expansion,
                    expected(&c, "thermal_expansion_per_K"),
                    0.0,
                    1e-6,
                    &id,
                );
            }
            "saturated" => {
                let t = input(&c, "temperature_C") + 273.15;
                // Up to 0.01 °C the cases take the liquid at one atmosphere.
                let w = if t <= 273.16 {
                    Water::at(t, 101_325.0).unwrap()
                } else {
                    Water::saturated(t).unwrap()
                };
                close(
                    w.vapour_pressure,
                    expected(&c, "vapour_pressure_Pa"),
                    2e-4,
                    &id,
                );
                close(w.density, expected(&c, "liquid_density_kg_m3"), 5e-5, &id);
                close(
                    w.viscosity,
                    expected(&c, "liquid_dynamic_viscosity_Pa_s"),
                    1e-3,
                    &id,
                );
                close(
                    w.sound_speed,
                    expected(&c, "liquid_sound_speed_m_s"),
                    3e-3,
                    &id,
                );
            }
            "boiling_point" => {
                let t = boiling_temperature(input(&c, "pressure_Pa")).unwrap();
                close(t, expected(&c, "temperature_K"), 1e-5, &id);
            }
            other => panic!("{other}"),
        }
        ran += 1;
    }
    assert_eq!(ran, 97);
}

/// Source: fluids 1.3.1, ATMOSPHERE_1976, inverted with scipy.
#[test]
fn standard_atmosphere() {
    let mut ran = 0;
    for c in cases("03_atmosphere.json") {
        let id = name(&c);
        if c["kind"] == "pressure_at_altitude" {
            let z = input(&c, "altitude_m");
            let p = atmosphere::pressure_at_altitude(z).unwrap();
            close(p, expected(&c, "pressure_Pa"), 1e-9, &id);
            let t = atmosphere::temperature_at_altitude(z).unwrap();
            close(t, expected(&c, "temperature_K"), 1e-9, &id);
        } else {
            let z = atmosphere::altitude_at_pressure(input(&c, "pressure_Pa")).unwrap();
            near(z, expected(&c, "altitude_m"), 1e-6, 0.01, &id);
        }
        ran += 1;
    }
    assert_eq!(ran, 36);
    assert!(atmosphere::pressure_at_altitude(20_000.0).is_err());
    assert!(atmosphere::altitude_at_pressure(0.0).is_err());
}

/// Source: fluids 1.3.1 (Colebrook, Reynolds, head from K), numpy; Hazen and Williams (1905).
#[test]
fn pipe_friction() {
    let tol = 1e-10;
    let mut ran = 0;
    for c in cases("04_pipe_friction.json") {
        let id = name(&c);
        match c["kind"].as_str().unwrap() {
            "hazen_williams" => {
                let rho = 1000.0;
                let q = input(&c, "flow_m3_s");
                let k = friction::hazen_williams_coefficient(
                    input(&c, "diameter_mm") / 1000.0,
                    input(&c, "length_m"),
                    input(&c, "hazen_c"),
                    rho,
                )
                .unwrap();
                let head = k * q.powf(friction::HAZEN_WILLIAMS_EXPONENT) / (rho * 9.806_65);
                close(head, expected(&c, "head_loss_m"), tol, &id);
                let trade = friction::trade_hazen_williams_psi(
                    input(&c, "flow_gpm"),
                    input(&c, "diameter_in"),
                    input(&c, "hazen_c"),
                    input(&c, "length_ft"),
                );
                close(trade, expected(&c, "trade_form_psi"), tol, &id);
            }
            "colebrook_factor" | "laminar_factor" => {
                let rough = c["inputs"]["relative_roughness"].as_f64().unwrap_or(0.0);
                let f = friction::friction_factor(input(&c, "reynolds"), rough).unwrap();
                close(f, expected(&c, "friction_factor"), tol, &id);
            }
            "darcy_line" => {
                let pipe = friction::DarcyPipe::new(
                    input(&c, "diameter_m"),
                    input(&c, "length_m"),
                    input(&c, "roughness_mm") / 1000.0,
                    input(&c, "density_kg_m3"),
                    input(&c, "dynamic_viscosity_Pa_s"),
                    0.0,
                )
                .unwrap();
                let q = input(&c, "flow_m3_s");
                close(pipe.reynolds(q), expected(&c, "reynolds"), tol, &id);
                close(
                    pipe.loss(q).unwrap(),
                    expected(&c, "pressure_loss_Pa"),
                    tol,
                    &id,
                );
                close(
                    pipe.loss(-q).unwrap(),
                    -expected(&c, "pressure_loss_Pa"),
                    tol,
                    &id,
                );
            }
            "velocity_head" => {
                let (q, d) = (
                    input(&c, "flow_L_min") / 60_000.0,
                    input(&c, "diameter_mm") / 1000.0,
                );
                close(
                    friction::velocity(q, d).unwrap(),
                    expected(&c, "velocity_m_s"),
                    tol,
                    &id,
                );
                let p = friction::velocity_pressure(q, d, input(&c, "density_kg_m3")).unwrap();
                close(p, expected(&c, "velocity_pressure_Pa"), tol, &id);
                let trade = friction::trade_velocity_pressure_psi(
                    input(&c, "flow_gpm"),
                    input(&c, "diameter_in"),
                );
                close(trade, expected(&c, "trade_velocity_pressure_psi"), tol, &id);
            }
            "minor_loss" => {
                let q = input(&c, "flow_L_min") / 60_000.0;
                let r = friction::minor_resistance(
                    input(&c, "loss_k"),
                    input(&c, "diameter_mm") / 1000.0,
                    input(&c, "density_kg_m3"),
                )
                .unwrap();
                close(r * q * q, expected(&c, "pressure_loss_Pa"), tol, &id);
            }
            "sudden_expansion" => {
                let k =
                    friction::sudden_expansion_k(input(&c, "d1_mm"), input(&c, "d2_mm")).unwrap();
                close(k, expected(&c, "loss_k"), tol, &id);
            }
            "hose_coefficient" => {
                let r = friction::fireground_resistance_per_metre(input(&c, "coefficient"))
                    .unwrap()
                    * input(&c, "length_m");
                let q = input(&c, "flow_L_min") / 60_000.0;
                close(
                    r * q * q / 1000.0,
                    expected(&c, "friction_loss_kPa"),
                    tol,
                    &id,
                );
                let trade = friction::trade_hose_loss_psi(
                    input(&c, "coefficient"),
                    input(&c, "flow_gpm"),
                    input(&c, "length_ft"),
                );
                close(trade, expected(&c, "friction_loss_psi"), tol, &id);
            }
            other => panic!("{other}"),
        }
        ran += 1;
    }
    assert_eq!(ran, 157);
}

/// The loss of a pipe rises with flow also through the change from laminar to turbulent, and its parts meet.
#[test]
fn darcy_loss_rises_steadily() {
    for roughness in [0.0, 1e-4, 2e-3] {
        let pipe =
            friction::DarcyPipe::new(0.0445, 30.0, roughness, 998.2, 1.0016e-3, 1.5).unwrap();
        let mut last = 0.0;
        for k in 1..4000 {
            let q = 1e-7 * 1.005_f64.powi(k);
            let p = pipe.loss(q).unwrap();
            assert!(p > last, "roughness {roughness}, flow {q}");
            assert!(p < 1.1 * last || k == 1, "no jump at {q}");
            last = p;
            if q > 1.0 {
                break;
            }
        }
    }
}

/// Trade texts: parallel lines by the square law (two 2½ in lines C 0.5; 3 in and 2½ in 0.3002).
#[test]
fn parallel_lines() {
    let c = friction::parallel_resistance(&[2.0, 2.0]).unwrap();
    near(c, 0.5, 1e-12, 0.0, "two 2½ in");
    let c = friction::parallel_resistance(&[0.8, 2.0]).unwrap();
    near(c, 0.3002, 2e-4, 0.0, "3 in and 2½ in");
    assert!(friction::parallel_resistance(&[]).is_err());
    assert!(friction::parallel_resistance(&[0.0]).is_err());
}

/// Source: first principles in numpy; fluids 1.3.1 flow meter for the throat.
#[test]
fn nozzles() {
    let tol = 1e-12;
    let lbf = 0.453_592_37 * 9.806_65;
    let mut ran = 0;
    for c in cases("05_nozzles.json") {
        let id = name(&c);
        match c["kind"].as_str().unwrap() {
            "orifice" => {
                let q = nozzle::orifice_flow(
                    input(&c, "diameter_mm") / 1000.0,
                    input(&c, "cd"),
                    input(&c, "pressure_drop_kPa") * 1000.0,
                    input(&c, "density_kg_m3"),
                )
                .unwrap();
                close(q, expected(&c, "flow_m3_s"), tol, &id);
            }
            "orifice_with_approach" => {
                let q = nozzle::throat_flow(
                    input(&c, "pipe_mm") / 1000.0,
                    input(&c, "throat_mm") / 1000.0,
                    input(&c, "cd"),
                    input(&c, "pressure_drop_kPa") * 1000.0,
                    input(&c, "density_kg_m3"),
                )
                .unwrap();
                close(q, expected(&c, "flow_m3_s"), tol, &id);
            }
            "constant" => {
                let k = nozzle::trade_nozzle_constant(input(&c, "density_kg_m3")).unwrap();
                close(k, expected(&c, "constant_gpm"), tol, &id);
            }
            "pitot" => {
                let (cd, d, p) = (
                    input(&c, "c"),
                    input(&c, "diameter_in"),
                    input(&c, "pitot_psi"),
                );
                close(
                    nozzle::trade_flow_gpm(cd, d, p),
                    expected(&c, "trade_flow_gpm"),
                    tol,
                    &id,
                );
                let tip = Nozzle::SmoothBore {
                    diameter: d * INCH,
                    discharge_coefficient: cd,
                };
                let rho = input(&c, "density_kg_m3");
                let q = tip.flow(p * PSI, rho).unwrap();
                close(q / GPM, expected(&c, "exact_flow_gpm"), tol, &id);
                close(tip.pressure(q, rho).unwrap(), p * PSI, tol, &id);
            }
            "pitot_sum" => {
                let mut total = 0.0;
                for tip in c["inputs"]["tips"].as_array().unwrap() {
                    total += nozzle::trade_flow_gpm(
                        tip["c"].as_f64().unwrap(),
                        tip["diameter_in"].as_f64().unwrap(),
                        tip["pitot_psi"].as_f64().unwrap(),
                    );
                }
                close(total, expected(&c, "total_gpm"), tol, &id);
            }
            "smooth_bore_reaction" => {
                let (d, p, cd) = (
                    input(&c, "diameter_in"),
                    input(&c, "pitot_psi"),
                    input(&c, "cd"),
                );
                for (sense, field) in [
                    (CoefficientSense::Ideal, "reaction_ideal_N"),
                    (
                        CoefficientSense::Contraction,
                        "reaction_cd_as_contraction_N",
                    ),
                    (CoefficientSense::Velocity, "reaction_cd_as_velocity_N"),
                ] {
                    let f = nozzle::smooth_bore_reaction(d * INCH, cd, p * PSI, sense).unwrap();
                    close(f, expected(&c, field), tol, &id);
                }
                let trade = nozzle::trade_smooth_bore_reaction_lbf(d, p);
                close(trade, expected(&c, "trade_reaction_lbf"), tol, &id);
                // The nozzle's own reaction is the momentum of its contracted jet.
                let tip = Nozzle::SmoothBore {
                    diameter: d * INCH,
                    discharge_coefficient: cd,
                };
                let rho = input(&c, "density_kg_m3");
                let q = tip.flow(p * PSI, rho).unwrap();
                let f = tip.reaction(q, p * PSI, rho).unwrap();
                close(f, expected(&c, "reaction_cd_as_contraction_N"), tol, &id);
            }
            "fog_reaction" => {
                let (q, p) = (input(&c, "flow_gpm"), input(&c, "pressure_psi"));
                let f =
                    nozzle::stream_reaction(q * GPM, p * PSI, input(&c, "density_kg_m3")).unwrap();
                close(f, expected(&c, "reaction_momentum_N"), tol, &id);
                close(f / lbf, expected(&c, "reaction_momentum_lbf"), tol, &id);
                let trade = nozzle::trade_fog_reaction_lbf(q, p);
                close(trade, expected(&c, "trade_reaction_lbf"), tol, &id);
            }
            // Inverse trade formulas and the orifice plate of ISO 5167-2 are not part of this crate.
            "pitot_inverse" | "orifice_plate_iso5167" => continue,
            other => panic!("{other}"),
        }
        ran += 1;
    }
    assert_eq!(ran, 92 - 13 - 8);
}

/// A holding nozzle's three ranges meet where they should.
#[test]
fn holding_nozzle_ranges() {
    let n = Nozzle::PressureHolding {
        set_pressure: 7e5,
        least_flow: 0.005,
        largest_flow: 0.02,
    };
    let rho = 998.0;
    near(
        n.pressure(0.0025, rho).unwrap(),
        7e5 / 4.0,
        1e-12,
        0.0,
        "below",
    );
    near(n.pressure(0.01, rho).unwrap(), 7e5, 1e-12, 0.0, "holding");
    near(n.pressure(0.04, rho).unwrap(), 2.8e6, 1e-12, 0.0, "above");
    near(n.flow(2.8e6, rho).unwrap(), 0.04, 1e-12, 0.0, "above");
    near(n.flow(7e5 / 4.0, rho).unwrap(), 0.0025, 1e-12, 0.0, "below");
    let wrong = Nozzle::PressureHolding {
        set_pressure: 7e5,
        least_flow: 0.02,
        largest_flow: 0.02,
    };
    assert!(wrong.check().is_err());
}

/// Source: definitions in float64; fluids 1.3.1; iapws 1.5.5 for the full heating.
#[test]
fn pump_scaling() {
    let tol = 1e-12;
    let mut ran = 0;
    for c in cases("06_pump_scaling.json") {
        let id = name(&c);
        let duty = || Duty {
            flow: input(&c, "flow_gpm"),
            head: input(&c, "head_ft"),
            power: input(&c, "power_hp"),
            npshr: c["inputs"]["npshr_ft"].as_f64().unwrap_or(0.0),
        };
        match c["kind"].as_str().unwrap() {
            "affinity_speed" => {
                let r = input(&c, "speed2_rpm") / input(&c, "speed1_rpm");
                let d = affinity::at_speed_ratio(duty(), r).unwrap();
                close(d.flow, expected(&c, "flow_gpm"), tol, &id);
                close(d.head, expected(&c, "head_ft"), tol, &id);
                close(d.power, expected(&c, "power_hp"), tol, &id);
                close(d.npshr, expected(&c, "npshr_ft"), tol, &id);
            }
            "affinity_trim" => {
                let r = input(&c, "diameter2_in") / input(&c, "diameter1_in");
                for (law, field) in [
                    (TrimLaw::SameFlow, "same_flow_law"),
                    (TrimLaw::FullGeometric, "full_geometric_law"),
                ] {
                    let d = affinity::at_trim_ratio(duty(), r, law).unwrap();
                    let e = &c["expected"][field];
                    close(d.flow, e["flow_gpm"].as_f64().unwrap(), tol, &id);
                    close(d.head, e["head_ft"].as_f64().unwrap(), tol, &id);
                    close(d.power, e["power_hp"].as_f64().unwrap(), tol, &id);
                }
            }
            "specific_speed" => {
                let w = input(&c, "speed_rpm") * PI / 30.0;
                let (q, h, n) = (
                    input(&c, "flow_m3_s"),
                    input(&c, "head_per_stage_m"),
                    input(&c, "npshr_m"),
                );
                let t = 1e-11;
                close(
                    affinity::us_specific_speed(w, q, h).unwrap(),
                    expected(&c, "us"),
                    t,
                    &id,
                );
                close(
                    affinity::metric_specific_speed(w, q, h).unwrap(),
                    expected(&c, "metric_m3s"),
                    t,
                    &id,
                );
                close(
                    affinity::type_number(w, q, h).unwrap(),
                    expected(&c, "dimensionless"),
                    t,
                    &id,
                );
                close(
                    affinity::us_specific_speed(w, q, n).unwrap(),
                    expected(&c, "suction_us"),
                    t,
                    &id,
                );
            }
            "specific_diameter" => {
                let d = affinity::specific_diameter(
                    input(&c, "diameter_m"),
                    input(&c, "flow_m3_s"),
                    input(&c, "head_m"),
                )
                .unwrap();
                close(d, expected(&c, "specific_diameter_metric"), tol, &id);
            }
            "power" => {
                let (q, p, s) = (
                    input(&c, "flow_m3_s"),
                    input(&c, "pressure_rise_Pa"),
                    input(&c, "shaft_power_kW") * 1000.0,
                );
                let w = input(&c, "speed_rpm") * PI / 30.0;
                close(
                    affinity::water_power(q, p),
                    expected(&c, "hydraulic_power_W"),
                    tol,
                    &id,
                );
                close(
                    affinity::efficiency(q, p, s).unwrap(),
                    expected(&c, "efficiency"),
                    tol,
                    &id,
                );
                close(
                    affinity::torque(s, w).unwrap(),
                    expected(&c, "torque_N_m"),
                    tol,
                    &id,
                );
                close(
                    affinity::head_of_pressure(p, input(&c, "density_kg_m3")).unwrap(),
                    expected(&c, "head_m"),
                    tol,
                    &id,
                );
                let trade = affinity::trade_water_power_hp(
                    input(&c, "flow_gpm"),
                    input(&c, "pressure_rise_psi"),
                );
                close(
                    trade,
                    expected(&c, "trade_hydraulic_power_1714_hp"),
                    tol,
                    &id,
                );
            }
            "shutoff_heating" => {
                let power = input(&c, "power_kW") * 1000.0;
                let mass = input(&c, "volume_L") / 1000.0 * input(&c, "water_density_kg_m3");
                let cp = input(&c, "water_specific_heat_J_kgK");
                let rate = affinity::shut_off_heating(power, mass, cp, 0.0, 0.0).unwrap();
                close(rate, expected(&c, "water_only_rate_K_s"), tol, &id);
                let rate = affinity::shut_off_heating(
                    power,
                    mass,
                    cp,
                    input(&c, "metal_mass_kg"),
                    input(&c, "metal_specific_heat_J_kgK"),
                )
                .unwrap();
                close(rate, expected(&c, "with_metal_rate_K_s"), tol, &id);
            }
            "steady_heating" => {
                let (h, cp) = (input(&c, "head_m"), input(&c, "specific_heat_J_kgK"));
                let rise = affinity::temperature_rise(h, input(&c, "efficiency"), cp).unwrap();
                close(rise, expected(&c, "temperature_rise_dC"), tol, &id);
                let q = affinity::least_flow_for_heating(
                    input(&c, "shaft_power_kW") * 1000.0,
                    h,
                    input(&c, "temperature_rise_limit_dC"),
                    input(&c, "density_kg_m3"),
                    cp,
                )
                .unwrap();
                close(
                    q,
                    expected(&c, "flow_for_limit_at_shaft_power_m3_s"),
                    tol,
                    &id,
                );
            }
            "steady_heating_full" => {
                let intake = Water::at(
                    input(&c, "temperature_C") + 273.15,
                    input(&c, "suction_pressure_Pa"),
                )
                .unwrap();
                let rise = affinity::temperature_rise_with_compression(
                    intake,
                    input(&c, "pressure_rise_Pa"),
                    input(&c, "efficiency"),
                )
                .unwrap();
                close(rise, expected(&c, "temperature_rise_dC"), 1e-3, &id);
            }
            other => panic!("{other}"),
        }
        ran += 1;
    }
    assert_eq!(ran, 100);
}

/// Source: scipy 1.17.1, PchipInterpolator and brentq.
#[test]
fn shape_preserving_curve() {
    let mut ran = 0;
    for c in cases("07_curve_interpolation.json") {
        let id = name(&c);
        let inputs = &c["inputs"];
        let curve = Curve::new(numbers(&inputs["flow_gpm"]), numbers(&inputs["head_ft"])).unwrap();
        let want = &c["expected"]["pchip"];
        for (x, y) in numbers(&inputs["at_flow_gpm"])
            .iter()
            .zip(numbers(&want["values"]))
        {
            near(curve.value(*x).unwrap(), y, 1e-12, 1e-10, &id);
        }
        for (s, w) in curve
            .slopes()
            .iter()
            .zip(numbers(&want["slopes_at_points"]))
        {
            near(*s, w, 1e-11, 1e-14, &id);
        }
        for (y, x) in numbers(&inputs["at_head_ft"])
            .iter()
            .zip(want["flow_at_head"].as_array().unwrap())
        {
            match (curve.largest_at(*y), x.as_f64()) {
                (Some(got), Some(want)) => near(got, want, 1e-9, 1e-9, &id),
                (None, None) => {}
                other => panic!("{id}: {other:?}"),
            }
        }
        ran += 1;
    }
    assert_eq!(ran, 18);
}

/// Source: numpy 2.4.6 with sensitivities checked by mpmath; JCGM 100:2008.
#[test]
fn net_pressure_uncertainty() {
    let inhg = 13_595.1 * 9.806_65 * 0.0254;
    let mut ran = 0;
    for c in cases_of("12_tolerance_uncertainty.json", "gum_net_pressure") {
        let id = name(&c);
        // The cases take 0.001123 psi per gpm² in⁴ for the velocity head and 1000 kg/m³ for the column.
        let velocity_density = 0.001_123 * PSI * INCH.powi(4) / (GPM * GPM) * PI * PI / 8.0;
        let g = service::Gauges {
            discharge: input(&c, "discharge_psi") * PSI,
            intake: -input(&c, "suction_vacuum_inHg") * inhg,
            discharge_height: input(&c, "discharge_gauge_height_ft") * FT,
            intake_height: input(&c, "suction_gauge_height_ft") * FT,
            velocity: Some(service::Taps {
                flow: input(&c, "flow_gpm") * GPM,
                discharge_bore: input(&c, "discharge_bore_in") * INCH,
                intake_bore: input(&c, "suction_bore_in") * INCH,
            }),
            density: velocity_density,
            specific_weight: 1000.0 * 9.806_65,
        };
        close(
            g.net_pressure().unwrap() / PSI,
            expected(&c, "net_pressure_psi"),
            1e-10,
            &id,
        );
        let s = g.sensitivities().unwrap();
        let want = numbers(&c["expected"]["sensitivities"]);
        let got = [
            s.discharge,
            -s.intake * inhg / PSI,
            s.discharge_height * FT / PSI,
            s.intake_height * FT / PSI,
            s.flow * GPM / PSI,
            s.discharge_bore * INCH / PSI,
            s.intake_bore * INCH / PSI,
        ];
        for (a, b) in got.iter().zip(want) {
            close(*a, b, 1e-10, &id);
        }
        let half = &c["inputs"]["rectangular_half_widths"];
        let u = |field: &str, unit: f64| service::rectangular(half[field].as_f64().unwrap() * unit);
        let combined = g
            .uncertainty(&service::NetUncertainties {
                discharge: u("discharge_psi", PSI),
                intake: u("suction_vacuum_inHg", inhg),
                discharge_height: u("discharge_gauge_height_ft", FT),
                intake_height: u("suction_gauge_height_ft", FT),
                flow: u("flow_gpm", GPM),
                discharge_bore: u("discharge_bore_in", INCH),
                intake_bore: u("suction_bore_in", INCH),
                gauge_correlation: input(&c, "gauge_correlation"),
            })
            .unwrap();
        close(
            combined / PSI,
            expected(&c, "standard_uncertainty_psi"),
            1e-10,
            &id,
        );
        ran += 1;
    }
    assert_eq!(ran, 8);
}

/// Source: numpy 2.4.6; JCGM 100:2008.
#[test]
fn pitot_uncertainty_and_degrees_of_freedom() {
    let mut ran = 0;
    for c in cases_of("12_tolerance_uncertainty.json", "gum_pitot_flow") {
        let u = service::pitot_flow_uncertainty(
            (input(&c, "c"), input(&c, "u_c")),
            (input(&c, "diameter_in"), input(&c, "u_diameter_in")),
            (input(&c, "pitot_psi"), input(&c, "u_pitot_psi")),
        )
        .unwrap();
        close(
            u,
            expected(&c, "relative_standard_uncertainty"),
            1e-10,
            &name(&c),
        );
        ran += 1;
    }
    assert_eq!(ran, 8);
    for c in cases_of("12_tolerance_uncertainty.json", "effective_dof") {
        let parts: Vec<(f64, f64)> = c["inputs"]["standard_uncertainties"]
            .as_array()
            .unwrap()
            .iter()
            .zip(c["inputs"]["degrees_of_freedom"].as_array().unwrap())
            .map(|(u, n)| (u.as_f64().unwrap(), n.as_f64().unwrap_or(f64::INFINITY)))
            .collect();
        if c["expected"]["effective_dof"].is_null() {
            continue;
        }
        let nu = service::effective_degrees_of_freedom(&parts).unwrap();
        close(nu, expected(&c, "effective_dof"), 1e-10, &name(&c));
        ran += 1;
    }
    assert!(ran > 10, "{ran}");
}

/// Source: scipy 1.17.1, stats.norm.cdf; JCGM 106:2012.
#[test]
fn verdicts_with_a_guard_band() {
    let mut ran = 0;
    for c in cases_of("12_tolerance_uncertainty.json", "guard_band") {
        let id = name(&c);
        let limits = Limits {
            lower: c["inputs"]["lower_limit"].as_f64(),
            upper: c["inputs"]["upper_limit"].as_f64(),
        };
        let x = input(&c, "measured");
        let u = input(&c, "expanded_uncertainty");
        let word = |v: Verdict| match v {
            Verdict::Pass => "accept",
            Verdict::Fail => "reject",
            Verdict::TooClose => "undecided",
        };
        let guarded = service::verdict(x, limits, input(&c, "guard_factor") * u).unwrap();
        assert_eq!(word(guarded), c["expected"]["decision"], "{id}");
        let simple = service::verdict(x, limits, 0.0).unwrap();
        assert_eq!(word(simple), c["expected"]["simple_decision"], "{id}");
        let p =
            service::conformance_probability(x, limits, u / input(&c, "coverage_factor")).unwrap();
        near(p, expected(&c, "conformance_probability"), 1e-9, 1e-15, &id);
        ran += 1;
    }
    assert_eq!(ran, 55);
}

/// Worked budget: limit 150 psi, u 2.7777 psi; a reading of 152 has a 23.6 % chance of being below 150.
#[test]
fn conformance_of_a_reading() {
    let limits = Limits {
        lower: Some(150.0),
        upper: None,
    };
    let p = service::conformance_probability(152.0, limits, 2.7777).unwrap();
    near(1.0 - p, 0.236, 0.0, 5e-4, "152 psi");
}

/// Source: scipy brentq on NPSHa = NPSHr of the suction side alone.
#[test]
fn draft_npsh_and_the_most_it_gives() {
    let mut ran = 0;
    for c in cases_of("13_operating_points.json", "drafting") {
        let id = name(&c);
        let per_ft = input(&c, "psi_per_ft");
        let density = per_ft * PSI / FT / 9.806_65;
        let mut resistance = 0.0;
        for e in c["inputs"]["edges"].as_array().unwrap() {
            match e["id"].as_str().unwrap() {
                "minor1" => {
                    resistance += e["k_psi_per_gpm2"].as_f64().unwrap() * PSI / (GPM * GPM);
                }
                "hose1" => {
                    resistance +=
                        friction::fireground_resistance_per_metre(e["C"].as_f64().unwrap())
                            .unwrap()
                            * e["length_ft"].as_f64().unwrap()
                            * FT;
                }
                _ => {}
            }
        }
        let draft = Draft::new(
            input(&c, "atmospheric_pressure_psia") * PSI,
            input(&c, "vapour_pressure_psia") * PSI,
            density,
            input(&c, "lift_ft") * FT,
            resistance,
        )
        .unwrap();
        let q = c["expected"]["edge_flow_gpm"]["pump1"].as_f64().unwrap();
        close(
            draft.intake_pressure(q * GPM) / PSI,
            c["expected"]["node_pressure_psi"]["inlet"]
                .as_f64()
                .unwrap(),
            1e-9,
            &id,
        );
        close(
            draft.npsh_available(q * GPM) / FT,
            expected(&c, "npsh_available_ft"),
            1e-9,
            &id,
        );
        let n0 = c["inputs"]["npshr_curve"]["n0_ft"].as_f64().unwrap() * FT;
        let n2 = c["inputs"]["npshr_curve"]["n2_ft_per_gpm2"]
            .as_f64()
            .unwrap()
            * FT
            / (GPM * GPM);
        let npshr = |q: f64| n0 + n2 * q * q;
        match draft.most(&npshr, 5000.0 * GPM).unwrap() {
            Most::Flow(most) => close(
                most / GPM,
                expected(&c, "flow_at_zero_margin_gpm"),
                1e-9,
                &id,
            ),
            other => panic!("{id}: {other:?}"),
        }
        assert_eq!(draft.most(&|_| 1e3, 1.0).unwrap(), Most::Nothing);
        assert_eq!(
            draft.most(&|_| 0.0, 1e-6).unwrap(),
            Most::AtLeast(1e-6),
            "{id}"
        );
        ran += 1;
    }
    assert_eq!(ran, 8);
}
