//! The tree as the rows give it, and the stored nodes held against it.

use std::collections::BTreeSet;

use rayon::prelude::*;

use super::finding::{Finding, FindingCode, events};
use crate::{
    ids::{Digest, Seq},
    ledger::merkle::{self, Coordinates},
};

/// Pairs of nodes that one worker hashes at a time.
const CHUNK: usize = 1024;

/// A node as it is stored, with nothing taken for granted.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RawNode {
    /// 0 for a leaf.
    pub level: i64,
    /// Position within the level, from 0.
    pub index: i64,
    /// The node's hash; 32 bytes if all is well.
    pub hash: Vec<u8>,
}

/// The stored nodes, by level and index.
#[derive(Clone, Debug, Default)]
pub(super) struct Stored {
    levels: Vec<Vec<Option<Digest>>>,
    /// Nodes that no tree of this size has, and repeated ones.
    extra: Vec<(i64, i64)>,
    /// Nodes whose hash has not 32 bytes.
    broken: BTreeSet<Coordinates>,
}

impl Stored {
    /// Takes a node in. `size` is how many events there are.
    pub(super) fn push(&mut self, node: &RawNode, size: u64) {
        let Some((level, index)) = within(node, size) else {
            self.extra.push((node.level, node.index));
            return;
        };
        let (at, slot) = (
            usize::from(level),
            usize::try_from(index).unwrap_or(usize::MAX),
        );
        if self.levels.len() <= at {
            self.levels.resize(at + 1, Vec::new());
        }
        let row = &mut self.levels[at];
        if row.len() <= slot {
            row.resize(slot + 1, None);
        }
        match <[u8; 32]>::try_from(node.hash.as_slice()) {
            _ if row[slot].is_some() => self.extra.push((node.level, node.index)),
            Ok(hash) => row[slot] = Some(Digest(hash)),
            Err(_) => drop(self.broken.insert((level, index))),
        }
    }

    pub(super) fn get(&self, level: u8, index: u64) -> Option<Digest> {
        let row = self.levels.get(usize::from(level))?;
        *row.get(usize::try_from(index).ok()?)?
    }
}

/// The coordinates of a node that a tree of `size` leaves has complete.
fn within(node: &RawNode, size: u64) -> Option<Coordinates> {
    let level = u8::try_from(node.level).ok().filter(|&l| l < 63)?;
    let index = u64::try_from(node.index).ok()?;
    (index < size >> level).then_some((level, index))
}

/// All complete nodes over the leaves of the rows.
#[derive(Clone, Debug)]
pub(super) struct Rebuilt {
    levels: Vec<Vec<Digest>>,
}

impl Rebuilt {
    pub(super) fn new(leaves: Vec<Digest>) -> Self {
        let mut levels = vec![leaves];
        while let Some(below) = levels.last().filter(|below| below.len() > 1) {
            let mut level = vec![Digest([0; 32]); below.len() / 2];
            level
                .par_chunks_mut(CHUNK)
                .zip(below.par_chunks(2 * CHUNK))
                .for_each(|(nodes, pairs)| {
                    for (node, pair) in nodes.iter_mut().zip(pairs.chunks_exact(2)) {
                        *node = merkle::node_hash(&pair[0], &pair[1]);
                    }
                });
            levels.push(level);
        }
        Self { levels }
    }

    pub(super) fn size(&self) -> u64 {
        self.levels.first().map_or(0, |leaves| leaves.len() as u64)
    }

    pub(super) fn get(&self, level: u8, index: u64) -> Option<Digest> {
        self.levels
            .get(usize::from(level))?
            .get(usize::try_from(index).ok()?)
            .copied()
    }

    /// The root of the first `size` leaves; none if there are fewer.
    pub(super) fn root(&self, size: u64) -> Option<Digest> {
        merkle::root(size, |level, index| self.get(level, index)).ok()
    }

    /// Holds the stored nodes against the rebuilt ones. `signed` is the largest size at which a good checkpoint has the
    /// root that the rows give.
    pub(super) fn compare(&self, stored: &Stored, signed: u64, findings: &mut Vec<Finding>) {
        for (level, row) in self.levels.iter().enumerate() {
            let level = u8::try_from(level).unwrap_or(u8::MAX);
            let mut missing: Option<(u64, u64)> = None;
            for (index, hash) in (0_u64..).zip(row) {
                match stored.get(level, index) {
                    Some(found) if found == *hash => {}
                    Some(found) => {
                        findings.extend(self.mismatch((level, index), found, stored, signed))
                    }
                    None if stored.broken.contains(&(level, index)) => {
                        let text = format!("{} is not a hash", name(level, index));
                        findings.push(node_finding(
                            FindingCode::NodeWrong,
                            (level, index, index),
                            text,
                        ));
                    }
                    None => match &mut missing {
                        Some((_, last)) if *last + 1 == index => *last = index,
                        run => {
                            findings.extend(run.take().map(|(a, b)| lost(level, a, b)));
                            *run = Some((index, index));
                        }
                    },
                }
            }
            findings.extend(missing.map(|(a, b)| lost(level, a, b)));
        }
        surplus(&stored.extra, findings);
    }

    /// A stored node differs from the rebuilt one. Either the rows below it were altered, or the node was.
    fn mismatch(
        &self,
        (level, index): Coordinates,
        found: Digest,
        stored: &Stored,
        signed: u64,
    ) -> Option<Finding> {
        if level > 0 {
            let below = (
                stored.get(level - 1, 2 * index),
                stored.get(level - 1, 2 * index + 1),
            );
            // The node agrees with the stored nodes under it, so the fault lies further down and is reported there.
            if let (Some(left), Some(right)) = below
                && merkle::node_hash(&left, &right) == found
            {
                return None;
            }
            let text = format!("{} is not what is under it", name(level, index));
            return Some(node_finding(
                FindingCode::NodeWrong,
                (level, index, index),
                text,
            ));
        }
        let seq = index + 1;
        // Whatever stands above the leaf and agrees with the row clears the row.
        let agrees = |up: u8| {
            let above = self.get(up, index >> up);
            above.is_some() && above == stored.get(up, index >> up)
        };
        if seq <= signed || (1..63).any(agrees) {
            let text = format!("the stored leaf of event {seq} is not the hash of its header");
            return Some(Finding::new(FindingCode::NodeWrong, text).at(seq));
        }
        let text = format!("the header of event {seq} is not the one that was put into the tree");
        Some(Finding::new(FindingCode::HeaderAltered, text).at(seq))
    }
}

/// "node 3 on level 2".
fn name(level: u8, index: u64) -> String {
    format!("node {index} on level {level}")
}

/// A finding over the events that the nodes `first` to `last` of a level cover.
fn node_finding(code: FindingCode, (level, first, last): (u8, u64, u64), text: String) -> Finding {
    let (from, to) = (covered(level, first).0, covered(level, last).1);
    Finding::new(code, format!("{text} (over {})", events(from, to))).over(from, to)
}

fn covered(level: u8, index: u64) -> (Seq, Seq) {
    let first = (index << level) + 1;
    (first, first + (1 << level) - 1)
}

fn lost(level: u8, first: u64, last: u64) -> Finding {
    let text = if first == last {
        format!("{} is missing", name(level, first))
    } else {
        format!("the nodes {first} to {last} on level {level} are missing")
    };
    node_finding(FindingCode::NodeMissing, (level, first, last), text)
}

/// Nodes that should not be there, neighbours in one finding.
fn surplus(extra: &[(i64, i64)], findings: &mut Vec<Finding>) {
    let mut extra = extra.to_vec();
    extra.sort_unstable();
    let mut runs: Vec<(i64, i64, i64)> = Vec::new();
    for (level, index) in extra {
        match runs.last_mut() {
            Some((l, _, last)) if *l == level && last.checked_add(1) == Some(index) => {
                *last = index
            }
            _ => runs.push((level, index, index)),
        }
    }
    for (level, first, last) in runs {
        let which = if first == last {
            format!("node {first}")
        } else {
            format!("nodes {first} to {last}")
        };
        let text = format!(
            "{which} on level {level}: no tree of these events has that, or it is stored twice"
        );
        let finding = Finding::new(FindingCode::NodeExtra, text);
        // A leaf stands for one event, so it can be named.
        let seqs = (u64::try_from(first), u64::try_from(last));
        findings.push(match seqs {
            (Ok(a), Ok(b)) if level == 0 && b < u64::MAX => finding.over(a + 1, b + 1),
            _ => finding,
        });
    }
}
