//! The mechanics against reference cases made with general-purpose libraries (fluids 1.3.1, scipy 1.17.1, mpmath 1.4.1,
//! numpy 2.4.6). Each test names its source; the tolerances are those stated with the cases.

use cutwater_mechanics::balance;
use cutwater_mechanics::impeller::{Exit, tip_speed, vane_pass_frequency};
use cutwater_mechanics::leakage::{
    Conditions, FrictionLaw, Gap, Rotation, chain_leakage, eccentric_factor,
};
use cutwater_mechanics::ring::{Diameter, RunningPair, least_radial_gap};
use serde_json::Value;
use std::f64::consts::PI;
use std::path::Path;

const RPM: f64 = PI / 30.0;

fn cases_of(file: &str, kind: &str) -> Vec<Value> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/data")
        .join(file);
    let text = std::fs::read_to_string(path).expect("the reference file is part of the crate");
    let doc: Value = serde_json::from_str(&text).expect("the reference file is JSON");
    doc["cases"]
        .as_array()
        .expect("a list of cases")
        .iter()
        .filter(|c| c["kind"] == kind)
        .cloned()
        .collect()
}

fn num(v: &Value, field: &str) -> f64 {
    v[field].as_f64().unwrap_or_else(|| panic!("no {field}"))
}

fn close(got: f64, want: f64, relative: f64, what: &Value, field: &str) {
    assert!(
        (got - want).abs() <= relative * want.abs(),
        "{what} {field}: got {got}, expected {want}"
    );
}

fn gap(v: &Value) -> Gap {
    Gap {
        diameter: num(v, "diameter_mm") / 1000.0,
        clearance: num(v, "clearance_diametral_mm") / 1000.0,
        length: num(v, "length_mm") / 1000.0,
        inlet_loss: num(v, "inlet_loss"),
        exit_loss: num(v, "exit_loss"),
        roughness: num(v, "roughness_um") * 1e-6,
    }
}

fn conditions(v: &Value) -> Conditions {
    Conditions {
        density: num(v, "density_kg_m3"),
        kinematic_viscosity: num(v, "kinematic_viscosity_m2_s"),
        speed: v["speed_rpm"].as_f64().unwrap_or(0.0) * RPM,
    }
}

fn law(v: &Value) -> FrictionLaw {
    match v["friction_law"].as_str() {
        Some("blasius") => FrictionLaw::Blasius,
        Some("colebrook") => FrictionLaw::Colebrook,
        other => panic!("{other:?}"),
    }
}

fn rotation(v: &Value) -> Rotation {
    match v["variant"].as_str() {
        Some("axial") => Rotation::Ignored,
        Some("rotating") => Rotation::ReynoldsOnly,
        Some("bulk_flow") => Rotation::BulkFlow,
        other => panic!("{other:?}"),
    }
}

/// Source: fluids (Blasius, Colebrook), scipy brentq, confirmed in 40 digits by mpmath.
#[test]
fn leakage_of_a_plain_gap() {
    let mut ran = 0;
    for c in cases_of("08_annular_leakage.json", "single_gap") {
        let (i, e, id) = (&c["inputs"], &c["expected"], &c["id"]);
        let g = gap(i);
        let l = g
            .leakage(
                num(i, "pressure_drop_Pa"),
                &conditions(i),
                law(i),
                rotation(i),
            )
            .unwrap();
        for (got, field) in [
            (l.flow, "flow_m3_s"),
            (l.velocity, "axial_velocity_m_s"),
            (l.reynolds_axial, "reynolds_axial"),
            (l.reynolds_circumferential, "reynolds_circumferential"),
            (l.friction_factor, "friction_factor"),
            (l.inlet_drop, "inlet_drop_Pa"),
            (l.friction_drop, "friction_drop_Pa"),
            (l.exit_drop, "exit_drop_Pa"),
            (l.discharge_coefficient, "discharge_coefficient"),
            (g.area() * 1e6, "area_mm2"),
        ] {
            close(got, num(e, field), 1e-8, id, field);
        }
        ran += 1;
    }
    assert_eq!(ran, 96);
}

/// Rotation lowers the leakage in the bulk-flow form, and raises it in the form that is only for comparison.
#[test]
fn rotation_lowers_leakage() {
    let g = Gap {
        diameter: 0.15,
        clearance: 0.0003,
        length: 0.025,
        inlet_loss: 0.5,
        exit_loss: 1.0,
        roughness: 1e-6,
    };
    let at = Conditions {
        density: 998.2,
        kinematic_viscosity: 1.0e-6,
        speed: 3500.0 * RPM,
    };
    let flow = |r| g.leakage(8e5, &at, FrictionLaw::Blasius, r).unwrap().flow;
    assert!(flow(Rotation::BulkFlow) < flow(Rotation::Ignored));
    assert!(flow(Rotation::ReynoldsOnly) > flow(Rotation::Ignored));
    assert!(
        g.leakage(-1.0, &at, FrictionLaw::Blasius, Rotation::Ignored)
            .is_err()
    );
    let shut = Gap {
        clearance: 0.0,
        ..g
    };
    assert!(
        shut.leakage(1e5, &at, FrictionLaw::Blasius, Rotation::Ignored)
            .is_err()
    );
}

/// Source: scipy brentq, mpmath; Yamada (1962).
#[test]
fn leakage_by_yamada_and_in_series() {
    let mut ran = 0;
    for c in cases_of("08_annular_leakage.json", "yamada_gap") {
        let i = &c["inputs"];
        let q = gap(i)
            .yamada_leakage(num(i, "pressure_drop_Pa"), &conditions(i))
            .unwrap();
        close(q, num(&c["expected"], "flow_m3_s"), 1e-8, &c["id"], "flow");
        ran += 1;
    }
    assert_eq!(ran, 8);
    for c in cases_of("08_annular_leakage.json", "gap_chain") {
        let i = &c["inputs"];
        let gaps: Vec<Gap> = i["gaps"].as_array().unwrap().iter().map(gap).collect();
        let turns: Vec<f64> = i["turn_loss"]
            .as_array()
            .unwrap()
            .iter()
            .map(|k| k.as_f64().unwrap())
            .collect();
        let q = chain_leakage(
            &gaps,
            &turns,
            num(i, "pressure_drop_Pa"),
            &conditions(i),
            law(i),
            rotation(i),
        )
        .unwrap();
        close(q, num(&c["expected"], "flow_m3_s"), 1e-8, &c["id"], "flow");
        ran += 1;
    }
    assert_eq!(ran, 20);
}

/// Source: scipy quadrature; 1 + 1.5 e² laminar.
#[test]
fn eccentric_gaps() {
    let mut ran = 0;
    for c in cases_of("08_annular_leakage.json", "eccentric_factor") {
        let i = &c["inputs"];
        let f = eccentric_factor(num(i, "eccentricity_ratio"), num(i, "exponent")).unwrap();
        close(
            f,
            num(&c["expected"], "flow_ratio"),
            1e-8,
            &c["id"],
            "ratio",
        );
        ran += 1;
    }
    assert_eq!(ran, 28);
    assert!((eccentric_factor(0.6, 3.0).unwrap() - 1.54).abs() < 1e-10);
    assert!(eccentric_factor(1.1, 3.0).is_err());
}

/// Source: scipy quadrature over brentq at each angle, axial flow; to its own tolerance of 1e-6.
#[test]
fn leakage_off_the_middle() {
    let mut ran = 0;
    for c in cases_of("08_annular_leakage.json", "eccentric_gap") {
        let (i, e) = (&c["inputs"], &c["expected"]);
        let (g, at, p) = (gap(i), conditions(i), num(i, "pressure_drop_Pa"));
        let flow = |eccentricity| {
            g.eccentric_leakage(p, eccentricity, &at, law(i), Rotation::Ignored)
                .unwrap()
        };
        let off = flow(num(i, "eccentricity_ratio"));
        close(off, num(e, "flow_m3_s"), 1e-6, &c["id"], "flow");
        close(
            flow(0.0),
            num(e, "concentric_flow_m3_s"),
            1e-6,
            &c["id"],
            "concentric",
        );
        assert!(off > flow(0.0));
        ran += 1;
    }
    assert_eq!(ran, 6);
}

/// Source: numpy; Wiesner (1967), Stodola (1927).
#[test]
fn head_from_geometry() {
    let mut ran = 0;
    for c in cases_of("11_head_generation.json", "euler_head") {
        let (i, e, id) = (&c["inputs"], &c["expected"], &c["id"]);
        let exit = Exit {
            diameter: num(i, "d2_mm") / 1000.0,
            width: num(i, "b2_mm") / 1000.0,
            angle: num(i, "beta2_deg").to_radians(),
            vanes: u32::try_from(i["vanes"].as_u64().unwrap()).unwrap(),
            open_share: num(i, "blockage"),
            radius_ratio: num(i, "radius_ratio"),
        };
        let h = exit
            .ideal_head(
                num(i, "flow_m3_s"),
                num(i, "speed_rpm") * RPM,
                num(i, "inlet_swirl_cu1_m_s"),
            )
            .unwrap();
        for (got, field) in [
            (h.tip_speed, "tip_speed_m_s"),
            (h.meridional_velocity, "meridional_velocity_m_s"),
            (h.wiesner_slip, "wiesner_slip"),
            (h.stodola_slip, "stodola_slip"),
            (h.no_slip, "head_no_slip_m"),
            (h.wiesner, "head_wiesner_m"),
            (h.stodola, "head_stodola_m"),
            (
                h.wiesner * num(i, "hydraulic_efficiency"),
                "head_wiesner_actual_m",
            ),
            (exit.wiesner_limit().unwrap(), "wiesner_limit_radius_ratio"),
        ] {
            // Differences of large terms cost a few digits of the stated 1e-12.
            close(got, num(e, field), 1e-11, id, field);
        }
        ran += 1;
    }
    assert_eq!(ran, 24);
}

/// Gorla and Khan, Turbomachinery, ex. 2.2: D 0.22 m at 1250 rpm, c_m 3.5 m/s, β₂ 22°: u₂ 14.399 m/s, H 8.419 m
/// with the book's g of 9.81 m/s².
#[test]
fn a_textbook_head() {
    let exit = Exit {
        diameter: 0.22,
        width: 0.02,
        angle: 22_f64.to_radians(),
        vanes: 6,
        open_share: 1.0,
        radius_ratio: 0.5,
    };
    let flow = 3.5 * exit.area().unwrap();
    let h = exit.ideal_head(flow, 1250.0 * RPM, 0.0).unwrap();
    assert!((h.tip_speed - 14.399).abs() < 5e-4);
    assert!((h.no_slip * 9.806_65 / 9.81 - 8.419).abs() < 5e-4);
    assert!((vane_pass_frequency(6, 3000.0 * RPM).unwrap() - 300.0).abs() < 1e-9);
    assert!(vane_pass_frequency(0, 1.0).is_err());
    assert!(tip_speed(-1.0, 1.0).is_err());
    let flat = Exit { angle: 0.0, ..exit };
    assert!(flat.ideal_head(0.1, 100.0, 0.0).is_err());
}

/// Source: ISO 21940-11 formula, numpy.
#[test]
fn permissible_unbalance() {
    let mut ran = 0;
    for c in cases_of("09_rotor_balance.json", "permissible_unbalance") {
        let (i, e, id) = (&c["inputs"], &c["expected"], &c["id"]);
        let p = balance::permissible_unbalance(
            num(i, "grade_mm_s") / 1000.0,
            num(i, "rotor_mass_kg"),
            num(i, "speed_rpm") * RPM,
        )
        .unwrap();
        close(
            p.unbalance * 1e6,
            num(e, "unbalance_g_mm"),
            1e-10,
            id,
            "unbalance",
        );
        close(
            p.eccentricity * 1e6,
            num(e, "eccentricity_um"),
            1e-10,
            id,
            "eccentricity",
        );
        let (a, b) = balance::share_of_planes(
            p.unbalance,
            num(i, "plane_a_distance_mm"),
            num(i, "plane_b_distance_mm"),
        )
        .unwrap();
        close(a * 1e6, num(e, "plane_a_g_mm"), 1e-10, id, "plane a");
        close(b * 1e6, num(e, "plane_b_g_mm"), 1e-10, id, "plane b");
        let trade = balance::trade_permissible_oz_in(
            num(i, "grade_mm_s"),
            num(i, "rotor_mass_lb"),
            num(i, "speed_rpm"),
        );
        close(trade, num(e, "trade_unbalance_oz_in"), 1e-10, id, "trade");
        ran += 1;
    }
    assert_eq!(ran, 20);
    assert!(balance::permissible_unbalance(0.0063, 10.0, 0.0).is_err());
    assert!((balance::centrifugal_force(1e-3, 100.0).unwrap() - 10.0).abs() < 1e-12);
}

/// From the definition: bronze ring (18e-6/K, textbook) over an iron hub (11e-6/K, textbook), 150 mm, 40 K warmer.
#[test]
fn running_clearance_at_temperature() {
    let pair = RunningPair {
        bore: Diameter {
            nominal: 0.150_30,
            upper: 4e-5,
            lower: 0.0,
        },
        hub: Diameter {
            nominal: 0.150_00,
            upper: 0.0,
            lower: -2.5e-5,
        },
        bore_expansion: 18e-6,
        hub_expansion: 11e-6,
    };
    let cold = pair.cold().unwrap();
    assert!((cold.worst_least - 3.0e-4).abs() < 1e-15);
    assert!((cold.worst_largest - 3.65e-4).abs() < 1e-15);
    assert!((cold.rss_half_width - 2.358_495e-5).abs() < 1e-10);
    let warm = pair.at(40.0, 40.0).unwrap();
    let grown = 0.150_32 * 18e-6 * 40.0 - 0.149_987_5 * 11e-6 * 40.0;
    assert!((warm.middle - cold.middle - grown).abs() < 1e-12);
    // The hub alone hot takes clearance away.
    assert!(pair.at(0.0, 40.0).unwrap().middle < cold.middle);
    let left = least_radial_gap(3.0e-4, 2e-5, 5e-5, 3e-5).unwrap();
    assert!((left - 7.5e-5).abs() < 1e-15);
    assert!(least_radial_gap(3.0e-4, -1.0, 0.0, 0.0).is_err());
    let wrong = RunningPair {
        hub: Diameter {
            nominal: 0.1,
            upper: -1e-3,
            lower: 0.0,
        },
        ..pair
    };
    assert!(wrong.cold().is_err());
    assert_eq!(Diameter::exact(0.1).nominal, 0.1);
}
