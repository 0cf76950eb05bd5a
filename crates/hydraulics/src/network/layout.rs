//! What can be said of a network from its layout alone: parts that nothing reaches, rings without resistance, demands
//! behind valves that point the wrong way.
//!
//! Invariants: linear time in nodes and links; no arithmetic with pressures.
//!
//! What it does not do: judge numbers (the solver does).

use super::{Infeasible, LinkId, Network, NodeId, NodeKind};

/// Refuses layouts that have no single answer whatever the numbers: nodes that nothing reaches, and rings of links
/// without loss (a ring through known pressures among them).
pub(super) fn check_layout(net: &Network) -> Result<(), Infeasible> {
    let n = net.nodes.len();
    let mut reach = Groups::new(n + 1);
    let mut lossless = Groups::new(n + 1);
    for (i, node) in net.nodes.iter().enumerate() {
        if matches!(node.kind, NodeKind::Fixed(_)) {
            reach.merge(i, n);
            lossless.merge(i, n);
        }
    }
    for (e, link) in net.links.iter().enumerate() {
        let to = link.to.map_or(n, |t| t as usize);
        reach.merge(link.from as usize, to);
        if link.law.is_lossless() && !link.closed && !lossless.merge(link.from as usize, to) {
            return Err(Infeasible::NotUnique {
                link: LinkId(e as u32),
            });
        }
    }
    let ground = reach.root(n);
    for i in 0..n {
        if reach.root(i) != ground {
            return Err(Infeasible::Disconnected {
                node: NodeId(i as u32),
            });
        }
    }
    Ok(())
}

/// Refuses demands that no source can reach, and inflows that can go nowhere, because check valves point the wrong way.
pub(super) fn check_reach(net: &Network) -> Result<(), Infeasible> {
    let valves = net
        .links
        .iter()
        .any(|l| (l.one_way || l.closed) && l.to.is_some());
    let demand = |i: usize| match net.nodes[i].kind {
        NodeKind::Junction(d) => d,
        NodeKind::Fixed(_) => 0.0,
    };
    let n = net.nodes.len();
    if !valves || (0..n).all(|i| demand(i) == 0.0) {
        return Ok(());
    }
    let fixed = |i: usize| matches!(net.nodes[i].kind, NodeKind::Fixed(_));
    // Fed from a known pressure or an inflow, along the valves; then the same against them for inflows.
    let mut fed: Vec<bool> = (0..n).map(|i| fixed(i) || demand(i) < 0.0).collect();
    spread(net, &mut fed, false);
    let mut drained: Vec<bool> = (0..n).map(|i| fixed(i) || demand(i) > 0.0).collect();
    for link in net.links.iter().filter(|l| l.to.is_none() && !l.closed) {
        drained[link.from as usize] = true;
    }
    spread(net, &mut drained, true);
    for i in 0..n {
        if (demand(i) > 0.0 && !fed[i]) || (demand(i) < 0.0 && !drained[i]) {
            return Err(Infeasible::CutOff {
                node: NodeId(i as u32),
            });
        }
    }
    Ok(())
}

/// Spreads a mark over the links, through one-way links only in (or only against) their direction.
fn spread(net: &Network, marked: &mut [bool], against: bool) {
    let n = net.nodes.len();
    let mut first = vec![0_usize; n + 1];
    let arcs = || {
        net.links.iter().filter(|l| !l.closed).flat_map(|l| {
            let to = l.to.unwrap_or(l.from);
            let forward = (l.from as usize, to as usize);
            let back = (forward.1, forward.0);
            let one_way = l.one_way;
            [
                (!one_way || !against).then_some(forward),
                (!one_way || against).then_some(back),
            ]
            .into_iter()
            .flatten()
        })
    };
    for (a, _) in arcs() {
        first[a + 1] += 1;
    }
    for i in 0..n {
        first[i + 1] += first[i];
    }
    let mut fill = first.clone();
    let mut next = vec![0_usize; first[n]];
    for (a, b) in arcs() {
        next[fill[a]] = b;
        fill[a] += 1;
    }
    let mut open: Vec<usize> = (0..n).filter(|&i| marked[i]).collect();
    while let Some(i) = open.pop() {
        for &j in &next[first[i]..first[i + 1]] {
            if !marked[j] {
                marked[j] = true;
                open.push(j);
            }
        }
    }
}

/// Disjoint groups of nodes.
pub(super) struct Groups {
    parent: Vec<u32>,
}

impl Groups {
    pub(super) fn new(n: usize) -> Self {
        Self {
            parent: (0..n as u32).collect(),
        }
    }

    pub(super) fn root(&mut self, i: usize) -> usize {
        let mut i = i;
        while self.parent[i] as usize != i {
            // Halving the path keeps later look-ups short.
            let above = self.parent[i] as usize;
            self.parent[i] = self.parent[above];
            i = self.parent[i] as usize;
        }
        i
    }

    /// Joins two groups; false when they were one already.
    pub(super) fn merge(&mut self, a: usize, b: usize) -> bool {
        let (a, b) = (self.root(a), self.root(b));
        if a == b {
            return false;
        }
        self.parent[a.min(b)] = a.max(b) as u32;
        true
    }
}
