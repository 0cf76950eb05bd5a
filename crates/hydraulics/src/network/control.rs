//! Held conditions: the pump speeds that meet them.
//!
//! Each condition has one free pump. One condition alone is found by Newton's method inside a bracket, with the exact
//! derivative from the factorised network. Several are found together by Newton's method and, where that stalls at a
//! limit or a kink, one after the other in turn.
//!
//! Invariants: a condition is met to 1e-8 of its value at worst (1e-10 as a rule) or the duty is refused with the
//! limit, the jump or the indeterminacy named; the iteration limit of the solve covers all of it.
//!
//! What it does not do: controls other than pump speed.

use super::solve::Solver;
use super::{Held, Hold, HoldId, Infeasible, Network, Options, SolveError, SpeedEnd};

/// A held condition is met when it is this close, relative.
const HOLD_TOLERANCE: f64 = 1e-10;
/// And still taken as met at this distance when the speed cannot be told any finer.
const HOLD_LOOSE: f64 = 1e-8;

/// Where one held value stands at one speed ratio.
#[derive(Debug, Clone, Copy)]
struct Probe {
    ratio: f64,
    /// Value less value wanted, over its scale.
    error: f64,
    /// Derivative of the error by the speed ratio.
    slope: f64,
}

/// What the search for one control found.
pub(super) enum Control {
    Met,
    AtEnd { end: SpeedEnd, reached: f64 },
}

impl Solver {
    /// The present value of a held quantity, Pa or m³/s, and the value wanted.
    fn held(&self, net: &Network, which: usize) -> (f64, f64) {
        match net.holds[which].held {
            Held::NodePressure { node, pressure } => {
                let i = node.index();
                let height = net.specific_weight() * net.nodes[i].elevation;
                (self.head[i] - height, pressure)
            }
            Held::LinkFlow { link, flow } => (self.flow[link.index()], flow),
            Held::PumpRise { pump, rise } => {
                let e = pump.index();
                (-Self::along(&self.head, &self.air, self.ends[e], e), rise)
            }
        }
    }

    /// Size of a held quantity, for tolerances.
    fn held_scale(&self, net: &Network, which: usize) -> f64 {
        let (_, wanted) = self.held(net, which);
        match net.holds[which].held {
            Held::LinkFlow { .. } => wanted.abs().max(1e-2 * self.flow_scale),
            _ => wanted.abs().max(1e-2 * self.pressure_scale),
        }
    }

    /// Derivative of every held quantity by the speed ratio of hold `by`, into `out`.
    fn sensitivities(
        &mut self,
        net: &Network,
        by: usize,
        out: &mut [f64],
    ) -> Result<(), SolveError> {
        let pump = net.holds[by].pump as usize;
        if self.factor().is_err() {
            let (mass, energy) = self.residuals(net);
            return Err(self.not_converged(mass, energy));
        }
        self.misfit.fill(0.0);
        if let Some(p) = net.links[pump].law.pump() {
            self.misfit[pump] = p.loss_by_ratio(self.flow[pump], self.ratio[pump]);
        }
        self.direction(false);
        for (k, hold) in net.holds.iter().enumerate() {
            out[k] = match hold.held {
                Held::NodePressure { node, .. } => self.step_head[node.index()],
                Held::LinkFlow { link, .. } => self.step_flow[link.index()],
                Held::PumpRise { pump, .. } => {
                    -Self::along_step(&self.step_head, self.ends[pump.index()])
                }
            };
        }
        Ok(())
    }

    /// Sets the speed ratio of one hold's pump, solves, and reports where the held value stands.
    fn probe(
        &mut self,
        net: &Network,
        which: usize,
        ratio: f64,
        slopes: &mut [f64],
        options: &Options<'_>,
    ) -> Result<Probe, SolveError> {
        let pump = net.holds[which].pump as usize;
        if self.ratio[pump] != ratio {
            self.ratio[pump] = ratio;
            self.settle(net, options)?;
        }
        let (value, wanted) = self.held(net, which);
        self.sensitivities(net, which, slopes)?;
        Ok(Probe {
            ratio,
            error: (value - wanted) / self.held_scale(net, which),
            slope: slopes[which] / self.held_scale(net, which),
        })
    }

    /// Finds the speed ratio of one hold, the others left as they are: Newton's method until the error changes sign,
    /// then Newton's method inside that bracket, with halving where it does not gain enough.
    pub(super) fn control_one(
        &mut self,
        net: &Network,
        which: usize,
        options: &Options<'_>,
    ) -> Result<Control, SolveError> {
        let hold = net.holds[which];
        let (least, largest) = (hold.least, hold.largest);
        let slopes = &mut vec![0.0; net.holds.len()];
        let start = self.ratio[hold.pump as usize];
        let mut at = self.probe(net, which, start, slopes, options)?;
        let mut ends: [Option<f64>; 2] = [None, None];
        let (mut left, mut right) = loop {
            if at.error.abs() <= HOLD_TOLERANCE {
                return self.settled(net, which, &hold, &at);
            }
            if at.ratio <= least {
                ends[0] = Some(at.error);
            }
            if at.ratio >= largest {
                ends[1] = Some(at.error);
            }
            let newton = at.ratio - at.error / at.slope;
            let inside = newton > least && newton < largest;
            let next = match ends {
                [Some(a), Some(b)] => {
                    // Both ends miss on the same side; the nearer one is the limit.
                    let (end, ratio) = if least == largest && at.error < 0.0 || b.abs() < a.abs() {
                        (SpeedEnd::Largest, largest)
                    } else {
                        (SpeedEnd::Least, least)
                    };
                    self.probe(net, which, ratio, slopes, options)?;
                    let (reached, _) = self.held(net, which);
                    return Ok(Control::AtEnd { end, reached });
                }
                [Some(_), None] if !inside => largest,
                [None, Some(_)] if !inside => least,
                _ if newton.is_finite() => newton.clamp(least, largest),
                _ => largest,
            };
            // A step that hardly moves will not change the sign; an end will, if anything does.
            let next = if (next - at.ratio).abs() < 1e-3 * at.ratio * at.error.abs().min(1.0) {
                if ends[1].is_none() { largest } else { least }
            } else {
                next
            };
            let before = at;
            at = self.probe(net, which, next, slopes, options)?;
            if at.error * before.error <= 0.0 {
                break if at.ratio < before.ratio {
                    (at, before)
                } else {
                    (before, at)
                };
            }
        };
        let mut last_error = f64::INFINITY;
        loop {
            if at.error.abs() <= HOLD_TOLERANCE {
                return self.settled(net, which, &hold, &at);
            }
            let newton = at.ratio - at.error / at.slope;
            let mid = 0.5 * (left.ratio + right.ratio);
            let gains = at.error.abs() <= 0.5 * last_error;
            let next = if newton > left.ratio && newton < right.ratio && gains {
                newton
            } else {
                mid
            };
            let narrow = right.ratio - left.ratio <= 1e-13 * right.ratio;
            if narrow || (next - at.ratio).abs() <= 2.0 * f64::EPSILON * at.ratio {
                // As near as the inner solution can tell.
                if at.error.abs() <= HOLD_LOOSE {
                    return self.settled(net, which, &hold, &at);
                }
                if narrow {
                    // The value steps over the one wanted, or (in a part cut off) means nothing.
                    let hold = HoldId(which as u32);
                    return Err(if self.is_adrift(net, which) {
                        Infeasible::HoldNotUnique { hold }
                    } else {
                        Infeasible::HoldJumps {
                            hold,
                            ratio: at.ratio,
                        }
                    }
                    .into());
                }
            }
            last_error = at.error.abs();
            at = self.probe(net, which, next, slopes, options)?;
            if at.error * left.error > 0.0 {
                left = at;
            } else {
                right = at;
            }
        }
    }

    /// A control whose condition is met, unless a whole range of speeds meets it.
    fn settled(
        &self,
        net: &Network,
        which: usize,
        hold: &Hold,
        at: &Probe,
    ) -> Result<Control, SolveError> {
        let free = self.is_adrift(net, which) || at.slope.abs() * at.ratio <= 1e-6;
        if free && hold.largest > hold.least {
            return Err(Infeasible::HoldNotUnique {
                hold: HoldId(which as u32),
            }
            .into());
        }
        Ok(Control::Met)
    }

    /// Finds the speed ratios of several holds together: Newton's method on all, then one at a time if that stalls.
    pub(super) fn control_all(
        &mut self,
        net: &Network,
        options: &Options<'_>,
    ) -> Result<(), SolveError> {
        let k = net.holds.len();
        let mut jacobian = vec![0.0; k * k];
        let mut column = vec![0.0; k];
        let mut errors = vec![0.0; k];
        let mut step = vec![0.0; k];
        let mut before = vec![0.0; k];
        let mut worst = self.hold_errors(net, &mut errors);
        'newton: for _ in 0..50 {
            if worst <= HOLD_TOLERANCE {
                break;
            }
            for by in 0..k {
                self.sensitivities(net, by, &mut column)?;
                for row in 0..k {
                    jacobian[row * k + by] = column[row] / self.held_scale(net, row);
                }
            }
            step.copy_from_slice(&errors);
            if !gauss(&mut jacobian, &mut step, k) {
                break;
            }
            for (i, hold) in net.holds.iter().enumerate() {
                before[i] = self.ratio[hold.pump as usize];
            }
            let mut share = 1.0;
            for _ in 0..6 {
                for (i, hold) in net.holds.iter().enumerate() {
                    self.ratio[hold.pump as usize] =
                        (before[i] - share * step[i]).clamp(hold.least, hold.largest);
                }
                self.settle(net, options)?;
                let now = self.hold_errors(net, &mut errors);
                if now < worst {
                    worst = now;
                    continue 'newton;
                }
                share *= 0.5;
            }
            for (i, hold) in net.holds.iter().enumerate() {
                self.ratio[hold.pump as usize] = before[i];
            }
            self.settle(net, options)?;
            worst = self.hold_errors(net, &mut errors);
            break;
        }
        // Newton settled, or stalled at a limit or a kink: one control after the other, each robust on its own.
        let mut last_ratios = vec![f64::NAN; k];
        for _ in 0..200 {
            if worst <= HOLD_LOOSE {
                break;
            }
            let mut limit = None;
            for which in 0..k {
                if let Control::AtEnd { end, reached } = self.control_one(net, which, options)? {
                    limit.get_or_insert((which, end, reached));
                }
            }
            worst = self.hold_errors(net, &mut errors);
            let mut moved = false;
            for (last, hold) in last_ratios.iter_mut().zip(&net.holds) {
                let now = self.ratio[hold.pump as usize];
                moved |= (now - *last).abs() > 1e-12 * now || last.is_nan();
                *last = now;
            }
            if let (Some((which, end, reached)), false) = (limit, moved) {
                return Err(self.speed_limit(net, which, end, reached).into());
            }
        }
        if worst > HOLD_LOOSE {
            let (mass, energy) = self.residuals(net);
            return Err(self.not_converged(mass, energy));
        }
        // A control that moves nothing is not settled by its condition.
        for by in 0..k {
            self.sensitivities(net, by, &mut column)?;
            for row in 0..k {
                jacobian[row * k + by] = column[row] / self.held_scale(net, row);
            }
        }
        for by in 0..k {
            let strongest = (0..k).fold(0.0_f64, |a, row| a.max(jacobian[row * k + by].abs()));
            let hold = net.holds[by];
            let free =
                self.is_adrift(net, by) || strongest * self.ratio[hold.pump as usize] <= 1e-6;
            if free && hold.largest > hold.least {
                return Err(Infeasible::HoldNotUnique {
                    hold: HoldId(by as u32),
                }
                .into());
            }
        }
        Ok(())
    }

    /// True when the held quantity is the pressure of a node in a part that shut links have cut off.
    fn is_adrift(&self, net: &Network, which: usize) -> bool {
        match net.holds[which].held {
            Held::NodePressure { node, .. } => self.adrift[node.index()],
            Held::LinkFlow { .. } | Held::PumpRise { .. } => false,
        }
    }

    /// Relative errors of all holds; returns the largest.
    fn hold_errors(&self, net: &Network, out: &mut [f64]) -> f64 {
        let mut worst = 0.0_f64;
        for (which, e) in out.iter_mut().enumerate() {
            let (value, wanted) = self.held(net, which);
            *e = (value - wanted) / self.held_scale(net, which);
            worst = worst.max(e.abs());
        }
        worst
    }

    pub(super) fn speed_limit(
        &self,
        net: &Network,
        which: usize,
        end: SpeedEnd,
        reached: f64,
    ) -> Infeasible {
        let hold = net.holds[which];
        let (_, wanted) = self.held(net, which);
        Infeasible::SpeedLimit {
            hold: HoldId(which as u32),
            end,
            ratio: self.ratio[hold.pump as usize],
            reached,
            wanted,
        }
    }
}

/// Solves a small dense system by elimination with row exchange; false when it is singular.
fn gauss(m: &mut [f64], x: &mut [f64], k: usize) -> bool {
    for c in 0..k {
        let mut best = c;
        for r in c + 1..k {
            if m[r * k + c].abs() > m[best * k + c].abs() {
                best = r;
            }
        }
        let pivot = m[best * k + c];
        if pivot.abs() <= 1e-12 || !pivot.is_finite() {
            return false;
        }
        if best != c {
            for j in 0..k {
                m.swap(c * k + j, best * k + j);
            }
            x.swap(c, best);
        }
        for r in c + 1..k {
            let f = m[r * k + c] / pivot;
            for j in c..k {
                m[r * k + j] -= f * m[c * k + j];
            }
            x[r] -= f * x[c];
        }
    }
    for c in (0..k).rev() {
        let mut v = x[c];
        for j in c + 1..k {
            v -= m[c * k + j] * x[j];
        }
        x[c] = v / m[c * k + c];
    }
    x.iter().all(|v| v.is_finite())
}
