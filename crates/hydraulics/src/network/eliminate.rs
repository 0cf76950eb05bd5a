//! Solving the symmetric positive definite system of the node pressures.
//!
//! A hose network is mostly tree: nodes with no, one or two neighbours left are eliminated directly, in an order found
//! once, which costs a handful of operations each and makes no more than one new connection. What remains (the core of
//! a network with many loops) goes to a dense Cholesky factorisation when it is small, and to `faer`'s sparse one with
//! its symbolic part computed once.
//!
//! Invariants: after [`System::new`] nothing is allocated; `factor` either succeeds or names a node where the matrix is
//! not positive.
//!
//! What it does not do: pivoting; the matrix must be positive definite.

use faer::MatMut;
use faer::dyn_stack::{MemBuffer, MemStack};
use faer::linalg::cholesky::llt::factor::LltRegularization;
use faer::sparse::linalg::cholesky::{
    CholeskySymbolicParams, LltRef, SymbolicCholesky, SymmetricOrdering,
    factorize_symbolic_cholesky,
};
use faer::sparse::{SparseColMatRef, SymbolicSparseColMat};
use faer::{Conj, Par, Side};
use smallvec::SmallVec;
use std::collections::VecDeque;

/// Largest core that is factorised densely. Found by timing: below about this size the dense loop beats the set-up of
/// the sparse one.
const DENSE_LIMIT: usize = 32;

/// Marks the absence of a slot.
const NONE: u32 = u32::MAX;

/// The elimination of one node with at most two neighbours left.
#[derive(Debug, Clone, Copy)]
struct Step {
    node: u32,
    /// First neighbour and the slot of the connection, or `NONE`.
    a: u32,
    slot_a: u32,
    /// Second neighbour and the slot of the connection, or `NONE`.
    b: u32,
    slot_b: u32,
    /// Slot of the connection between the two neighbours.
    slot_ab: u32,
}

/// What is left after the direct elimination.
#[derive(Debug)]
enum Core {
    Empty,
    Dense {
        /// Column-major lower triangle with the diagonal, full square.
        l: Vec<f64>,
    },
    Sparse(Box<SparseCore>),
}

/// A large core and the workspaces of its factorisation.
struct SparseCore {
    pattern: SymbolicSparseColMat<usize>,
    values: Vec<f64>,
    /// Where each core diagonal and each core slot goes in `values`.
    diag_at: Vec<usize>,
    slot_at: Vec<usize>,
    symbolic: SymbolicCholesky<usize>,
    factor: Vec<f64>,
    memory: MemBuffer,
    rhs: Vec<f64>,
}

impl std::fmt::Debug for SparseCore {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("SparseCore")
            .field("unknowns", &self.diag_at.len())
            .field("factor", &self.factor.len())
            .finish()
    }
}

/// Why a factorisation stopped.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct NotPositive {
    /// An unknown at or near which the matrix is not positive definite.
    pub unknown: usize,
}

/// The system matrix, its elimination plan and its factor.
#[derive(Debug)]
pub(crate) struct System {
    /// Diagonal, one per unknown; overwritten by `factor`.
    pub diag: Vec<f64>,
    /// Off-diagonal value of each slot; overwritten by `factor`.
    pub off: Vec<f64>,
    steps: Vec<Step>,
    /// Unknowns of the core, and for each core slot (slot, larger core index, smaller core index).
    core_nodes: Vec<u32>,
    core_slots: Vec<(u32, u32, u32)>,
    core: Core,
}

impl System {
    /// Plans the elimination for `unknowns` unknowns joined by `pairs`. Returns the system and the slot of each pair;
    /// pairs between the same two unknowns share a slot.
    pub(crate) fn new(unknowns: usize, pairs: &[(u32, u32)]) -> (Self, Vec<u32>) {
        // Neighbours still alive, with the slot of the connection.
        let mut near: Vec<SmallVec<[(u32, u32); 4]>> = vec![SmallVec::new(); unknowns];
        let mut slots = 0_u32;
        let pair_slot = pairs
            .iter()
            .map(|&(a, b)| join(&mut near, a, b, &mut slots))
            .collect();

        let mut steps = Vec::with_capacity(unknowns);
        let mut gone = vec![false; unknowns];
        let mut queue: VecDeque<u32> = (0..unknowns as u32)
            .filter(|&i| near[i as usize].len() <= 2)
            .collect();
        while let Some(node) = queue.pop_front() {
            let i = node as usize;
            if gone[i] || near[i].len() > 2 {
                continue;
            }
            gone[i] = true;
            let around = std::mem::take(&mut near[i]);
            let mut step = Step {
                node,
                a: NONE,
                slot_a: NONE,
                b: NONE,
                slot_b: NONE,
                slot_ab: NONE,
            };
            for &(other, _) in &around {
                near[other as usize].retain(|&mut (k, _)| k != node);
            }
            if let Some(&(a, slot_a)) = around.first() {
                (step.a, step.slot_a) = (a, slot_a);
            }
            if let Some(&(b, slot_b)) = around.get(1) {
                (step.b, step.slot_b) = (b, slot_b);
                step.slot_ab = join(&mut near, step.a, b, &mut slots);
            }
            for &(other, _) in &around {
                if near[other as usize].len() <= 2 {
                    queue.push_back(other);
                }
            }
            steps.push(step);
        }

        let core_nodes: Vec<u32> = (0..unknowns as u32)
            .filter(|&i| !gone[i as usize])
            .collect();
        let mut place = vec![NONE; unknowns];
        for (k, &i) in core_nodes.iter().enumerate() {
            place[i as usize] = k as u32;
        }
        let mut core_slots = Vec::new();
        for (k, &i) in core_nodes.iter().enumerate() {
            for &(j, slot) in &near[i as usize] {
                let other = place[j as usize];
                if other < k as u32 {
                    core_slots.push((slot, k as u32, other));
                }
            }
        }
        let core = plan_core(core_nodes.len(), &core_slots);
        (
            Self {
                diag: vec![0.0; unknowns],
                off: vec![0.0; slots as usize],
                steps,
                core_nodes,
                core_slots,
                core,
            },
            pair_slot,
        )
    }

    /// Sets the matrix to zero.
    pub(crate) fn clear(&mut self) {
        self.diag.fill(0.0);
        self.off.fill(0.0);
    }

    /// Factorises the matrix in place.
    pub(crate) fn factor(&mut self) -> Result<(), NotPositive> {
        for s in &self.steps {
            let node = s.node as usize;
            let d = self.diag[node];
            if !(d > 0.0 && d.is_finite()) {
                return Err(NotPositive { unknown: node });
            }
            let inverse = 1.0 / d;
            self.diag[node] = inverse;
            if s.a != NONE {
                let wa = self.off[s.slot_a as usize];
                self.diag[s.a as usize] -= wa * wa * inverse;
                if s.b != NONE {
                    let wb = self.off[s.slot_b as usize];
                    self.diag[s.b as usize] -= wb * wb * inverse;
                    self.off[s.slot_ab as usize] -= wa * wb * inverse;
                }
            }
        }
        match &mut self.core {
            Core::Empty => Ok(()),
            Core::Dense { l } => {
                let n = self.core_nodes.len();
                l.fill(0.0);
                for (k, &i) in self.core_nodes.iter().enumerate() {
                    l[k * n + k] = self.diag[i as usize];
                }
                for &(slot, big, small) in &self.core_slots {
                    l[small as usize * n + big as usize] = self.off[slot as usize];
                }
                dense_cholesky(l, n).map_err(|k| NotPositive {
                    unknown: self.core_nodes[k] as usize,
                })
            }
            Core::Sparse(core) => {
                core.values.fill(0.0);
                for (&at, &i) in core.diag_at.iter().zip(&self.core_nodes) {
                    core.values[at] = self.diag[i as usize];
                }
                for (&at, &(slot, _, _)) in core.slot_at.iter().zip(&self.core_slots) {
                    core.values[at] = self.off[slot as usize];
                }
                let matrix = SparseColMatRef::new(core.pattern.as_ref(), &core.values);
                core.symbolic
                    .factorize_numeric_llt(
                        &mut core.factor,
                        matrix,
                        Side::Lower,
                        LltRegularization::default(),
                        Par::Seq,
                        MemStack::new(&mut core.memory),
                        Default::default(),
                    )
                    .map(|_| ())
                    .map_err(|_| NotPositive {
                        unknown: self.core_nodes[0] as usize,
                    })
            }
        }
    }

    /// Solves with the factor; `x` holds the right-hand side on entry and the solution on return.
    pub(crate) fn solve(&mut self, x: &mut [f64]) {
        for s in &self.steps {
            if s.a != NONE {
                let scaled = x[s.node as usize] * self.diag[s.node as usize];
                x[s.a as usize] -= self.off[s.slot_a as usize] * scaled;
                if s.b != NONE {
                    x[s.b as usize] -= self.off[s.slot_b as usize] * scaled;
                }
            }
        }
        match &mut self.core {
            Core::Empty => {}
            Core::Dense { l } => {
                let n = self.core_nodes.len();
                for k in 0..n {
                    let node = self.core_nodes[k] as usize;
                    let v = x[node] / l[k * n + k];
                    x[node] = v;
                    for r in k + 1..n {
                        x[self.core_nodes[r] as usize] -= l[k * n + r] * v;
                    }
                }
                for k in (0..n).rev() {
                    let mut v = x[self.core_nodes[k] as usize];
                    for r in k + 1..n {
                        v -= l[k * n + r] * x[self.core_nodes[r] as usize];
                    }
                    x[self.core_nodes[k] as usize] = v / l[k * n + k];
                }
            }
            Core::Sparse(core) => {
                for (v, &i) in core.rhs.iter_mut().zip(&self.core_nodes) {
                    *v = x[i as usize];
                }
                let n = core.rhs.len();
                let factor = LltRef::new(&core.symbolic, &core.factor);
                factor.solve_in_place_with_conj(
                    Conj::No,
                    MatMut::from_column_major_slice_mut(&mut core.rhs, n, 1),
                    Par::Seq,
                    MemStack::new(&mut core.memory),
                );
                for (v, &i) in core.rhs.iter().zip(&self.core_nodes) {
                    x[i as usize] = *v;
                }
            }
        }
        for s in self.steps.iter().rev() {
            let node = s.node as usize;
            let mut v = x[node];
            if s.a != NONE {
                v -= self.off[s.slot_a as usize] * x[s.a as usize];
                if s.b != NONE {
                    v -= self.off[s.slot_b as usize] * x[s.b as usize];
                }
            }
            x[node] = v * self.diag[node];
        }
    }
}

/// Joins two unknowns, reusing their slot when they are joined already.
fn join(near: &mut [SmallVec<[(u32, u32); 4]>], a: u32, b: u32, slots: &mut u32) -> u32 {
    if let Some(&(_, slot)) = near[a as usize].iter().find(|(k, _)| *k == b) {
        return slot;
    }
    let slot = *slots;
    *slots += 1;
    near[a as usize].push((b, slot));
    near[b as usize].push((a, slot));
    slot
}

/// Prepares the factorisation of a core of `n` unknowns.
fn plan_core(n: usize, slots: &[(u32, u32, u32)]) -> Core {
    if n == 0 {
        return Core::Empty;
    }
    let dense = || Core::Dense {
        l: vec![0.0; n * n],
    };
    if n <= DENSE_LIMIT {
        return dense();
    }
    // Lower triangle by columns: the diagonal first, then the rows in rising order.
    let mut column: Vec<SmallVec<[(usize, usize); 4]>> = vec![SmallVec::new(); n];
    for (k, &(_, big, small)) in slots.iter().enumerate() {
        column[small as usize].push((big as usize, k));
    }
    let mut start = Vec::with_capacity(n + 1);
    let mut row = Vec::with_capacity(n + slots.len());
    let mut diag_at = Vec::with_capacity(n);
    let mut slot_at = vec![0; slots.len()];
    for (j, entries) in column.iter_mut().enumerate() {
        start.push(row.len());
        diag_at.push(row.len());
        row.push(j);
        entries.sort_unstable();
        for &(i, k) in entries.iter() {
            slot_at[k] = row.len();
            row.push(i);
        }
    }
    start.push(row.len());
    let values = vec![0.0; row.len()];
    let pattern = SymbolicSparseColMat::new_checked(n, n, start, None, row);
    let Ok(symbolic) = factorize_symbolic_cholesky(
        pattern.as_ref(),
        Side::Lower,
        SymmetricOrdering::Amd,
        CholeskySymbolicParams::default(),
    ) else {
        // Only running out of memory or index range leads here; the dense way needs no more indices.
        return dense();
    };
    let need = symbolic
        .factorize_numeric_llt_scratch::<f64>(Par::Seq, Default::default())
        .or(symbolic.solve_in_place_scratch::<f64>(1, Par::Seq));
    Core::Sparse(Box::new(SparseCore {
        values,
        diag_at,
        slot_at,
        factor: vec![0.0; symbolic.len_val()],
        memory: MemBuffer::new(need),
        rhs: vec![0.0; n],
        pattern,
        symbolic,
    }))
}

/// Cholesky factorisation of a column-major lower triangle, in place; the error is the failing column.
fn dense_cholesky(l: &mut [f64], n: usize) -> Result<(), usize> {
    for j in 0..n {
        let (done, rest) = l.split_at_mut(j * n);
        let column = &mut rest[j..n];
        for k in 0..j {
            let other = &done[k * n + j..k * n + n];
            let w = other[0];
            if w != 0.0 {
                for (c, o) in column.iter_mut().zip(other) {
                    *c -= w * o;
                }
            }
        }
        if !(column[0] > 0.0 && column[0].is_finite()) {
            return Err(j);
        }
        let pivot = column[0].sqrt();
        for c in column.iter_mut() {
            *c /= pivot;
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A grid Laplacian of `w × h` nodes with a little added to the diagonal, and its dense twin.
    fn grid(w: u32, h: u32) -> (usize, Vec<(u32, u32)>) {
        let mut pairs = Vec::new();
        for y in 0..h {
            for x in 0..w {
                let i = y * w + x;
                if x + 1 < w {
                    pairs.push((i, i + 1));
                }
                if y + 1 < h {
                    pairs.push((i, i + w));
                }
            }
        }
        ((w * h) as usize, pairs)
    }

    fn check_solution(n: usize, pairs: &[(u32, u32)]) {
        let (mut system, slot) = System::new(n, pairs);
        for round in 0..2 {
            system.clear();
            let weight = |k: usize| 0.3 + ((k * 7 + round) % 11) as f64;
            for (k, &(a, b)) in pairs.iter().enumerate() {
                system.diag[a as usize] += weight(k);
                system.diag[b as usize] += weight(k);
                system.off[slot[k] as usize] -= weight(k);
            }
            for d in &mut system.diag {
                *d += 0.01;
            }
            let rhs: Vec<f64> = (0..n).map(|i| ((i * 13) % 17) as f64 - 8.0).collect();
            let mut x = rhs.clone();
            system.factor().unwrap();
            system.solve(&mut x);
            // The product with the matrix, formed from the pairs alone.
            let mut product: Vec<f64> = x.iter().map(|v| 0.01 * v).collect();
            for (k, &(a, b)) in pairs.iter().enumerate() {
                let flow = weight(k) * (x[a as usize] - x[b as usize]);
                product[a as usize] += flow;
                product[b as usize] -= flow;
            }
            for i in 0..n {
                assert!((product[i] - rhs[i]).abs() < 1e-8, "{n} unknowns, row {i}");
            }
        }
    }

    #[test]
    fn trees_rings_and_grids_are_solved() {
        check_solution(1, &[]);
        check_solution(5, &[(0, 1), (1, 2), (1, 3), (3, 4)]);
        check_solution(4, &[(0, 1), (1, 2), (2, 3), (3, 0), (0, 1)]);
        for (w, h) in [(4, 4), (7, 6), (9, 11), (20, 20)] {
            let (n, pairs) = grid(w, h);
            check_solution(n, &pairs);
        }
    }

    #[test]
    fn a_matrix_that_is_not_positive_is_refused() {
        let (mut system, _) = System::new(2, &[]);
        system.diag[0] = 1.0;
        assert_eq!(system.factor(), Err(NotPositive { unknown: 1 }));
        let (n, pairs) = grid(9, 9);
        let (mut system, _) = System::new(n, &pairs);
        system.clear();
        assert!(system.factor().is_err());
    }
}
