//! Reads the parts of a duty's system: supplies, hose, appliances and nozzles.
//!
//! Every number is kept with its tolerance. `None` means that something is missing or unknown, which is reported where
//! it is written; nothing is reported here.

use super::Job;
use super::lay::{Graph, StationKind};
use super::system::{
    ApplianceLaw, Feed, HoseLaw, Lead, NozzleLaw, Run, Source, Station, StationLaw,
};
use crate::db::Cx;
use crate::kinds::{line, supply};
use crate::value::Value;
use crate::{DeclId, Eval};
use cutwater_quantity::Tol;

/// Where the water comes from, the stations, and the hoses.
pub(super) type Parts = (Vec<Feed>, Vec<Station>, Vec<Run>);

fn number(cx: &mut Cx<'_>, d: DeclId, name: &str) -> Eval<Option<Tol>> {
    Ok(cx.quantity(d, name)?.map(|q| q.value))
}

fn part(cx: &mut Cx<'_>, d: DeclId, name: &str, part: &str) -> Eval<Option<Tol>> {
    Ok(match cx.get(d, name)? {
        Value::Phrase(parts) => parts
            .iter()
            .find(|p| p.0 == part)
            .map(|p| p.1.value.clone()),
        _ => None,
    })
}

impl Job<'_, '_> {
    /// The parts of a system; `source` is the supply of the pump that no chain feeds.
    pub(super) fn parts(&mut self, graph: &Graph, source: Option<DeclId>) -> Eval<Option<Parts>> {
        let unfed = graph.pumps.iter().filter(|p| !p.fed);
        let own = source.into_iter().zip(unfed.map(|p| p.intake));
        let named = graph.sources.iter().map(|s| (s.supply, s.point));
        let mut feeds = Vec::new();
        for (supply, point) in own.chain(named) {
            let Some(source) = self.source(supply)? else {
                return Ok(None);
            };
            feeds.push(Feed {
                supply,
                point,
                source,
            });
        }
        let mut stations = Vec::with_capacity(graph.stations.len());
        for s in &graph.stations {
            let law = match s.kind {
                StationKind::Nozzle => self.nozzle_law(s.decl)?.map(StationLaw::Nozzle),
                StationKind::Appliance => match self.appliance_law(s.decl)? {
                    Some(law) => Some(StationLaw::Appliance {
                        law,
                        one_way: self.cx.choice(s.decl, "one_way")? == Some("yes"),
                    }),
                    None => None,
                },
            };
            let Some(law) = law else { return Ok(None) };
            let bore = match s.kind {
                StationKind::Nozzle => "inlet_diameter",
                StationKind::Appliance => "diameter",
            };
            let bore = number(self.cx, s.decl, bore)?;
            stations.push(Station {
                bore: bore.map(|d| self.numbers.keep(d)),
                label: s.label.clone(),
                decl: s.decl,
                law,
            });
        }
        let suction = self.behind_drafts(graph)?;
        let mut runs = Vec::with_capacity(graph.runs.len());
        for r in &graph.runs {
            let Some(law) = self.hose_law(r.hose)? else {
                return Ok(None);
            };
            let name = || format!("a length of {}", self.cx.name(r.hose));
            runs.push(Run {
                law,
                length: self.numbers.keep_as(r.length.clone(), name),
                diameter: number(self.cx, r.hose, "diameter")?.map(|d| self.numbers.keep(d)),
                suction: suction[r.from],
            });
        }
        Ok(Some((feeds, stations, runs)))
    }

    /// Which points water comes to from a `draft` supply of the lay without passing a pump.
    fn behind_drafts(&mut self, graph: &Graph) -> Eval<Vec<bool>> {
        let mut all = vec![false; graph.heights.len()];
        for s in &graph.sources {
            if supply::source(self.cx, s.supply)? == Some("draft") {
                let reach = graph.reach(s.point);
                all.iter_mut().zip(reach).for_each(|(a, r)| *a |= r);
            }
        }
        Ok(all)
    }

    fn hose_law(&mut self, hose: DeclId) -> Eval<Option<HoseLaw>> {
        let cx = &mut *self.cx;
        if let (Some(p), Some(l), Some(q)) = (
            part(cx, hose, "loss", "pressure")?,
            part(cx, hose, "loss", "length")?,
            part(cx, hose, "loss", "flow")?,
        ) {
            return Ok(Some(HoseLaw::Square {
                pressure: self.numbers.keep(p),
                length: self.numbers.keep(l),
                flow: self.numbers.keep(q),
            }));
        }
        let Some(diameter) = number(cx, hose, "diameter")? else {
            return Ok(None);
        };
        if let Some(c) = number(cx, hose, "hazen_williams")? {
            return Ok(Some(HoseLaw::HazenWilliams {
                diameter: self.numbers.keep(diameter),
                coefficient: self.numbers.keep(c),
            }));
        }
        Ok(
            number(cx, hose, "roughness")?.map(|roughness| HoseLaw::Darcy {
                diameter: self.numbers.keep(diameter),
                roughness: self.numbers.keep(roughness),
            }),
        )
    }

    fn appliance_law(&mut self, appliance: DeclId) -> Eval<Option<ApplianceLaw>> {
        let cx = &mut *self.cx;
        if let (Some(p), Some(q)) = (
            part(cx, appliance, "loss", "pressure")?,
            part(cx, appliance, "loss", "flow")?,
        ) {
            return Ok(Some(ApplianceLaw::At {
                pressure: self.numbers.keep(p),
                flow: self.numbers.keep(q),
            }));
        }
        if let Some(table) = line::gate(cx, appliance)? {
            let (Some(opening), Some(diameter)) = (
                number(cx, appliance, "opening")?,
                number(cx, appliance, "diameter")?,
            ) else {
                return Ok(None);
            };
            let o = opening.nominal();
            // Where its table does not tell the loss is told at the gate.
            if o != 0.0 && line::gate_coefficient(&table, o).is_none() {
                return Ok(None);
            }
            return Ok(Some(ApplianceLaw::Gate {
                opening: self.numbers.keep(opening),
                diameter: self.numbers.keep(diameter),
                table: table.into(),
            }));
        }
        let (Some(k), Some(d)) = (
            number(cx, appliance, "loss_coefficient")?,
            number(cx, appliance, "diameter")?,
        ) else {
            return Ok(None);
        };
        Ok(Some(ApplianceLaw::Coefficient {
            coefficient: self.numbers.keep(k),
            diameter: self.numbers.keep(d),
        }))
    }

    fn nozzle_law(&mut self, nozzle: DeclId) -> Eval<Option<NozzleLaw>> {
        let cx = &mut *self.cx;
        let Some(form) = cx.choice(nozzle, "form")? else {
            return Ok(None);
        };
        if form == "smooth" {
            let (Some(tip), Some(c)) = (
                number(cx, nozzle, "tip")?,
                number(cx, nozzle, "discharge_coefficient")?,
            ) else {
                return Ok(None);
            };
            return Ok(Some(NozzleLaw::Smooth {
                tip: self.numbers.keep(tip),
                coefficient: self.numbers.keep(c),
            }));
        }
        let (Some(q), Some(p)) = (
            part(cx, nozzle, "rated", "flow")?,
            part(cx, nozzle, "rated", "pressure")?,
        ) else {
            return Ok(None);
        };
        let range = match form {
            "holding" => match cx.get(nozzle, "flow_range")? {
                Value::Range(r) => Some((r.low, r.high)),
                _ => return Ok(None),
            },
            _ => None,
        };
        let pressure = self.numbers.keep(p);
        let mut flow = || self.numbers.keep(q.clone());
        Ok(Some(match (form, range) {
            (_, Some((least, largest))) => NozzleLaw::Holding {
                pressure,
                least,
                largest,
            },
            ("regulated", _) => NozzleLaw::Regulated {
                flow: flow(),
                pressure,
            },
            _ => NozzleLaw::Fog {
                flow: flow(),
                pressure,
            },
        }))
    }

    /// Hose that a supply names; the inner `None` where it names none.
    fn lead(&mut self, supply: DeclId, name: &str) -> Eval<Option<Option<Lead>>> {
        Ok(match self.cx.get(supply, name)? {
            Value::Absent => Some(None),
            Value::Piece(p) => match self.hose_law(p.of)? {
                Some(law) => Some(Some(Lead {
                    hose: p.of,
                    law,
                    length: self.numbers.keep(p.length.value.clone()),
                    diameter: number(self.cx, p.of, "diameter")?.map(|d| self.numbers.keep(d)),
                })),
                None => None,
            },
            _ => None,
        })
    }

    pub(super) fn source(&mut self, s: DeclId) -> Eval<Option<Source>> {
        let Some(source) = supply::source(self.cx, s)? else {
            return Ok(None);
        };
        let lines = self.cx.si(s, &format!("{source}.lines"))?.unwrap_or(1.0) as u32;
        Ok(match source {
            "draft" => {
                let Some(lift) = number(self.cx, s, "draft.lift")? else {
                    return Ok(None);
                };
                let Some(suction) = self.lead(s, "draft.suction")? else {
                    return Ok(None);
                };
                let strainer = match self.cx.get(s, "draft.strainer")? {
                    Value::Absent => None,
                    Value::Decl(a) => match self.appliance_law(a)? {
                        Some(law) => Some(law),
                        None => return Ok(None),
                    },
                    _ => return Ok(None),
                };
                Some(Source::Draft {
                    lift: self.numbers.keep(lift),
                    suction,
                    strainer,
                    lines,
                })
            }
            "hydrant" => {
                let (Some(p0), Some(p1), Some(q1), Some(z)) = (
                    number(self.cx, s, "hydrant.static_pressure")?,
                    part(self.cx, s, "hydrant.residual", "pressure")?,
                    part(self.cx, s, "hydrant.residual", "flow")?,
                    number(self.cx, s, "hydrant.elevation")?,
                ) else {
                    return Ok(None);
                };
                let Some(hose) = self.lead(s, "hydrant.hose")? else {
                    return Ok(None);
                };
                Some(Source::Hydrant {
                    pressure: self.numbers.keep(p0),
                    residual: (self.numbers.keep(p1), self.numbers.keep(q1)),
                    elevation: self.numbers.keep(z),
                    hose,
                    lines,
                })
            }
            _ => {
                let (Some(level), Some(p), Some(q)) = (
                    number(self.cx, s, "tank.level")?,
                    part(self.cx, s, "tank.loss", "pressure")?,
                    part(self.cx, s, "tank.loss", "flow")?,
                ) else {
                    return Ok(None);
                };
                Some(Source::Tank {
                    level: self.numbers.keep(level),
                    loss: (self.numbers.keep(p), self.numbers.keep(q)),
                })
            }
        })
    }
}
