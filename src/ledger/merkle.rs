//! The tree over the event headers, as RFC 9162 section 2.1 has it (SHA-256).
//!
//! A node is named by `(level, index)`: level 0 holds the leaves, and node `(l, i)` covers the leaves from `i * 2^l` up
//! to but without `(i + 1) * 2^l`. Only complete nodes are ever stored, so a stored node never changes. Everything that
//! is not complete (the root of a size that is no power of two) is computed from complete nodes.
//!
//! Each function that needs nodes has a twin that names them, so that a store can fetch them first.

use sha2::{Digest as _, Sha256};

use crate::ids::Digest;

/// Level and index of a node.
pub type Coordinates = (u8, u64);

/// Longest proof that is looked at: no tree below 2^63 leaves needs a longer one.
pub const MAX_PROOF: usize = 128;

/// A complete node.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Node {
    /// 0 for a leaf.
    pub level: u8,
    /// Position within the level, from 0.
    pub index: u64,
    /// The node's hash.
    pub hash: Digest,
}

/// Why a root or a proof cannot be computed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum TreeError {
    /// The leaf or the older size is not in the tree.
    #[error("the tree does not reach that far")]
    Outside,
    /// A node that is needed was not there.
    #[error("the tree's node {1} on level {0} is missing")]
    Missing(u8, u64),
}

/// Why a proof was refused.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum ProofError {
    /// The leaf or the older size is not in the tree.
    #[error("the proof is for a tree that does not reach that far")]
    Outside,
    /// Too many or too few hashes.
    #[error("the proof has the wrong length")]
    Length,
    /// The hashes lead to another root.
    #[error("the proof leads to another root")]
    Root,
}

/// The hash of a leaf: `SHA-256(0x00 || data)`.
#[must_use]
pub fn leaf_hash(data: &[u8]) -> Digest {
    Digest(
        Sha256::new()
            .chain_update([0])
            .chain_update(data)
            .finalize()
            .into(),
    )
}

/// The hash of an inner node: `SHA-256(0x01 || left || right)`.
#[must_use]
pub fn node_hash(left: &Digest, right: &Digest) -> Digest {
    let mut both = [1; 65];
    both[1..33].copy_from_slice(&left.0);
    both[33..].copy_from_slice(&right.0);
    Digest(Sha256::digest(both).into())
}

/// The root of the empty tree: `SHA-256` of nothing.
#[must_use]
pub fn empty_root() -> Digest {
    Digest(Sha256::digest([]).into())
}

/// The right edge of a tree: enough to append leaves and to know the root.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Frontier {
    size: u64,
    /// Roots of the complete subtrees from left to right, one for each bit that is set in `size`, largest first.
    edge: Vec<Digest>,
}

impl Frontier {
    /// The empty tree.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// Goes on with a tree of `size` leaves. `lookup` is asked for the nodes of [`root_nodes`].
    ///
    /// # Errors
    /// [`TreeError::Missing`] names the first node that `lookup` does not have.
    pub fn from_nodes(
        size: u64,
        lookup: impl Fn(u8, u64) -> Option<Digest>,
    ) -> Result<Self, TreeError> {
        let edge = root_nodes(size)
            .into_iter()
            .map(|at| fetch(at, &lookup))
            .collect::<Result<_, _>>()?;
        Ok(Self { size, edge })
    }

    /// How many leaves the tree has.
    #[must_use]
    pub fn size(&self) -> u64 {
        self.size
    }

    /// Appends a leaf by its hash and yields the nodes that are complete now: the leaf first, then upwards.
    pub fn append(&mut self, leaf: Digest) -> Vec<Node> {
        let mut node = Node {
            level: 0,
            index: self.size,
            hash: leaf,
        };
        let mut done = vec![node];
        // A left sibling waits on each level where the size has a bit set.
        while node.index & 1 == 1 {
            let Some(left) = self.edge.pop() else { break };
            node = Node {
                level: node.level + 1,
                index: node.index >> 1,
                hash: node_hash(&left, &node.hash),
            };
            done.push(node);
        }
        self.edge.push(node.hash);
        self.size += 1;
        done
    }

    /// The root of the tree as it stands.
    #[must_use]
    pub fn root(&self) -> Digest {
        fold(&self.edge).unwrap_or_else(empty_root)
    }
}

/// The nodes that [`root`] asks for, from left to right.
#[must_use]
pub fn root_nodes(size: u64) -> Vec<Coordinates> {
    range_nodes(0, size)
}

/// The root of the first `size` leaves.
///
/// # Errors
/// [`TreeError::Missing`] names the first node that `lookup` does not have.
pub fn root(size: u64, lookup: impl Fn(u8, u64) -> Option<Digest>) -> Result<Digest, TreeError> {
    if size == 0 {
        return Ok(empty_root());
    }
    range_hash((0, size), &lookup)
}

/// The nodes that [`inclusion`] asks for.
#[must_use]
pub fn inclusion_nodes(index: u64, size: u64) -> Vec<Coordinates> {
    nodes_of(&inclusion_ranges(index, size))
}

/// The proof that leaf `index` (from 0) is in the tree of `size` leaves (RFC 9162 section 2.1.3.1).
///
/// # Errors
/// [`TreeError::Outside`] and [`TreeError::Missing`].
pub fn inclusion(
    index: u64,
    size: u64,
    lookup: impl Fn(u8, u64) -> Option<Digest>,
) -> Result<Vec<Digest>, TreeError> {
    if index >= size {
        return Err(TreeError::Outside);
    }
    inclusion_ranges(index, size)
        .into_iter()
        .map(|range| range_hash(range, &lookup))
        .collect()
}

/// The nodes that [`consistency`] asks for.
#[must_use]
pub fn consistency_nodes(old: u64, new: u64) -> Vec<Coordinates> {
    nodes_of(&consistency_ranges(old, new))
}

/// The proof that the tree of `new` leaves goes on from the tree of `old` leaves (RFC 9162 section 2.1.4.1). It is
/// empty for equal sizes and for an empty older tree.
///
/// # Errors
/// [`TreeError::Outside`] and [`TreeError::Missing`].
pub fn consistency(
    old: u64,
    new: u64,
    lookup: impl Fn(u8, u64) -> Option<Digest>,
) -> Result<Vec<Digest>, TreeError> {
    if old > new {
        return Err(TreeError::Outside);
    }
    consistency_ranges(old, new)
        .into_iter()
        .map(|range| range_hash(range, &lookup))
        .collect()
}

/// Checks that `leaf` is leaf `index` of the tree with `size` leaves and this root (RFC 9162 section 2.1.3.2).
///
/// # Errors
/// See [`ProofError`].
pub fn verify_inclusion(
    leaf: &Digest,
    index: u64,
    size: u64,
    proof: &[Digest],
    root: &Digest,
) -> Result<(), ProofError> {
    if index >= size {
        return Err(ProofError::Outside);
    }
    if proof.len() > MAX_PROOF {
        return Err(ProofError::Length);
    }
    let (mut at, mut last) = (index, size - 1);
    let mut hash = *leaf;
    for step in proof {
        if last == 0 {
            return Err(ProofError::Length);
        }
        if at & 1 == 1 || at == last {
            hash = node_hash(step, &hash);
            // A right edge without a sibling rises until it has one.
            while at & 1 == 0 && at != 0 {
                at >>= 1;
                last >>= 1;
            }
        } else {
            hash = node_hash(&hash, step);
        }
        at >>= 1;
        last >>= 1;
    }
    if last != 0 {
        return Err(ProofError::Length);
    }
    if hash == *root {
        Ok(())
    } else {
        Err(ProofError::Root)
    }
}

/// Checks that the tree of `new` leaves goes on from the tree of `old` leaves (RFC 9162 section 2.1.4.2).
///
/// # Errors
/// See [`ProofError`].
pub fn verify_consistency(
    old: u64,
    new: u64,
    proof: &[Digest],
    old_root: &Digest,
    new_root: &Digest,
) -> Result<(), ProofError> {
    if old > new {
        return Err(ProofError::Outside);
    }
    if old == 0 || old == new {
        if !proof.is_empty() {
            return Err(ProofError::Length);
        }
        let expected = if old == 0 { empty_root() } else { *new_root };
        return if *old_root == expected {
            Ok(())
        } else {
            Err(ProofError::Root)
        };
    }
    if proof.len() > MAX_PROOF {
        return Err(ProofError::Length);
    }
    // A complete older tree is itself the first hash of the path.
    let (first, rest) = if old.is_power_of_two() {
        (*old_root, proof)
    } else {
        let (first, rest) = proof.split_first().ok_or(ProofError::Length)?;
        (*first, rest)
    };
    let (mut at, mut last) = (old - 1, new - 1);
    while at & 1 == 1 {
        at >>= 1;
        last >>= 1;
    }
    let (mut old_hash, mut new_hash) = (first, first);
    for step in rest {
        if last == 0 {
            return Err(ProofError::Length);
        }
        if at & 1 == 1 || at == last {
            old_hash = node_hash(step, &old_hash);
            new_hash = node_hash(step, &new_hash);
            while at & 1 == 0 && at != 0 {
                at >>= 1;
                last >>= 1;
            }
        } else {
            new_hash = node_hash(&new_hash, step);
        }
        at >>= 1;
        last >>= 1;
    }
    if last != 0 {
        return Err(ProofError::Length);
    }
    if old_hash == *old_root && new_hash == *new_root {
        Ok(())
    } else {
        Err(ProofError::Root)
    }
}

/// Leaves from the first number up to but without the second.
type Range = (u64, u64);

/// The complete nodes that make up a range whose start is a multiple of the largest of them.
fn range_nodes(start: u64, end: u64) -> Vec<Coordinates> {
    let mut out = Vec::new();
    let mut at = start;
    while at < end {
        let level = (end - at).ilog2();
        out.push((u8::try_from(level).unwrap_or(u8::MAX), at >> level));
        at += 1 << level;
    }
    out
}

fn nodes_of(ranges: &[Range]) -> Vec<Coordinates> {
    ranges
        .iter()
        .flat_map(|&(start, end)| range_nodes(start, end))
        .collect()
}

fn fetch(
    at: Coordinates,
    lookup: &impl Fn(u8, u64) -> Option<Digest>,
) -> Result<Digest, TreeError> {
    lookup(at.0, at.1).ok_or(TreeError::Missing(at.0, at.1))
}

fn range_hash(
    (start, end): Range,
    lookup: &impl Fn(u8, u64) -> Option<Digest>,
) -> Result<Digest, TreeError> {
    let hashes = range_nodes(start, end)
        .into_iter()
        .map(|at| fetch(at, lookup))
        .collect::<Result<Vec<_>, _>>()?;
    Ok(fold(&hashes).unwrap_or_else(empty_root))
}

/// Joins complete subtrees from the right: the small ones at the right edge first.
fn fold(hashes: &[Digest]) -> Option<Digest> {
    let (last, before) = hashes.split_last()?;
    Some(
        before
            .iter()
            .rev()
            .fold(*last, |right, left| node_hash(left, &right)),
    )
}

/// Where a tree of `n` leaves is split: the largest power of two below `n`, for `n` of at least 2.
fn split(n: u64) -> u64 {
    1 << (n - 1).ilog2()
}

fn inclusion_ranges(index: u64, size: u64) -> Vec<Range> {
    let mut out = Vec::new();
    if index >= size {
        return out;
    }
    let (mut start, mut end) = (0, size);
    while end - start > 1 {
        let middle = start + split(end - start);
        if index < middle {
            out.push((middle, end));
            end = middle;
        } else {
            out.push((start, middle));
            start = middle;
        }
    }
    out.reverse();
    out
}

fn consistency_ranges(old: u64, new: u64) -> Vec<Range> {
    let mut out = Vec::new();
    if old == 0 || old >= new {
        return out;
    }
    let (mut start, mut end) = (0, new);
    while end != old {
        let middle = start + split(end - start);
        if old <= middle {
            out.push((middle, end));
            end = middle;
        } else {
            out.push((start, middle));
            start = middle;
        }
    }
    // The older root itself is known to whoever checks; a part of it is not.
    if start != 0 {
        out.push((start, end));
    }
    out.reverse();
    out
}
