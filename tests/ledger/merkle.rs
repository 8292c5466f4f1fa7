//! The tree: public vectors, every proof of small trees, and another implementation as a judge.

use std::collections::HashMap;

use ct_merkle::mem_backed_tree::MemoryBackedTree;
use liftledger::{
    ids::Digest,
    ledger::merkle::{
        Frontier, Node, ProofError, TreeError, consistency, consistency_nodes, empty_root,
        inclusion, inclusion_nodes, leaf_hash, node_hash, root, root_nodes, verify_consistency,
        verify_inclusion,
    },
};
use sha2::Sha256;

/// Source: the leaves and roots in transparency-dev/merkle, `testonly/constants.go` (sizes 0 to 8).
const LEAVES: [&str; 8] = [
    "",
    "00",
    "10",
    "2021",
    "3031",
    "40414243",
    "5051525354555657",
    "606162636465666768696a6b6c6d6e6f",
];
const ROOTS: [&str; 9] = [
    "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855",
    "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
    "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
    "aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
    "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
    "4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
    "76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
    "ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
    "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
];

/// As far as every proof is tried.
const LARGEST: u64 = 64;

#[derive(Default)]
struct Tree {
    frontier: Frontier,
    nodes: HashMap<(u8, u64), Digest>,
}

impl Tree {
    fn of(leaves: impl IntoIterator<Item = Vec<u8>>) -> Self {
        let mut tree = Self::default();
        for leaf in leaves {
            for Node { level, index, hash } in tree.frontier.append(leaf_hash(&leaf)) {
                assert!(
                    tree.nodes.insert((level, index), hash).is_none(),
                    "a node is completed once"
                );
            }
        }
        tree
    }

    fn get(&self, level: u8, index: u64) -> Option<Digest> {
        self.nodes.get(&(level, index)).copied()
    }

    fn root(&self, size: u64) -> Digest {
        root(size, |l, i| self.get(l, i)).unwrap()
    }
}

fn numbered(size: u64) -> impl Iterator<Item = Vec<u8>> {
    (0..size).map(|n| format!("leaf {n}").into_bytes())
}

#[test]
fn roots_of_the_public_vectors() {
    let leaves: Vec<_> = LEAVES.iter().map(|s| hex::decode(s).unwrap()).collect();
    for (size, expected) in ROOTS.iter().enumerate() {
        let tree = Tree::of(leaves[..size].to_vec());
        assert_eq!(tree.frontier.root().to_string(), *expected);
        assert_eq!(tree.root(size as u64).to_string(), *expected);
    }
    assert_eq!(empty_root().to_string(), ROOTS[0]);
}

/// Source: the examples of RFC 6962 section 2.1.3 carried over to these leaves, derived by hand.
#[test]
fn proofs_of_the_public_vectors() {
    let tree = Tree::of(LEAVES.iter().map(|s| hex::decode(s).unwrap()));
    let node = |level, index| tree.get(level, index).unwrap();
    let lookup = |l, i| tree.get(l, i);
    assert_eq!(
        inclusion(0, 8, lookup).unwrap(),
        [node(0, 1), node(1, 1), node(2, 1)]
    );
    assert_eq!(
        inclusion(5, 8, lookup).unwrap(),
        [node(0, 4), node(1, 3), node(2, 0)]
    );
    assert_eq!(
        consistency(6, 8, lookup).unwrap(),
        [node(1, 2), node(1, 3), node(2, 0)]
    );
    let inner = "0ebc5d3437fbe2db158b9f126a1d118e308181031d0a949f8dededebc558ef6a";
    assert_eq!(node(1, 2).to_string(), inner);
    assert_eq!(node_hash(&node(0, 4), &node(0, 5)).to_string(), inner);
}

#[test]
fn every_inclusion_proof_up_to_64() {
    let tree = Tree::of(numbered(LARGEST));
    for size in 1..=LARGEST {
        let top = tree.root(size);
        for index in 0..size {
            let path = inclusion(index, size, |l, i| tree.get(l, i)).unwrap();
            let leaf = tree.get(0, index).unwrap();
            assert_eq!(
                verify_inclusion(&leaf, index, size, &path, &top),
                Ok(()),
                "{index} in {size}"
            );
            // Another place, another leaf, another root, a hash more, less or changed: none passes.
            for other in (0..size).filter(|&i| i != index) {
                assert!(
                    verify_inclusion(&leaf, other, size, &path, &top).is_err(),
                    "{index} as {other} in {size}"
                );
            }
            assert_eq!(
                verify_inclusion(&top, index, size, &path, &leaf).is_ok(),
                size == 1
            );
            assert_eq!(
                verify_inclusion(&leaf, size, size, &path, &top),
                Err(ProofError::Outside)
            );
            let mut longer = path.clone();
            longer.push(leaf);
            assert_eq!(
                verify_inclusion(&leaf, index, size, &longer, &top),
                Err(ProofError::Length)
            );
            if let Some((_, shorter)) = path.split_last() {
                assert!(verify_inclusion(&leaf, index, size, shorter, &top).is_err());
            }
            for at in 0..path.len() {
                let mut wrong = path.clone();
                wrong[at].0[at % 32] ^= 1;
                assert_eq!(
                    verify_inclusion(&leaf, index, size, &wrong, &top),
                    Err(ProofError::Root)
                );
            }
        }
    }
}

#[test]
fn every_consistency_proof_up_to_64() {
    let tree = Tree::of(numbered(LARGEST));
    let stranger = Tree::of((0..LARGEST).map(|n| format!("other {n}").into_bytes()));
    for new in 0..=LARGEST {
        let new_root = tree.root(new);
        for old in 0..=new {
            let old_root = tree.root(old);
            let proof = consistency(old, new, |l, i| tree.get(l, i)).unwrap();
            assert_eq!(
                verify_consistency(old, new, &proof, &old_root, &new_root),
                Ok(()),
                "{old} to {new}"
            );
            let wrong_root = stranger.root(old);
            if old > 0 {
                assert!(
                    verify_consistency(old, new, &proof, &wrong_root, &new_root).is_err(),
                    "{old} to {new}"
                );
                assert!(
                    verify_consistency(old, new, &proof, &old_root, &stranger.root(new)).is_err()
                );
            }
            let mut longer = proof.clone();
            longer.push(new_root);
            assert!(verify_consistency(old, new, &longer, &old_root, &new_root).is_err());
            for at in 0..proof.len() {
                let mut wrong = proof.clone();
                wrong[at].0[at % 32] ^= 1;
                assert!(
                    verify_consistency(old, new, &wrong, &old_root, &new_root).is_err(),
                    "{old} to {new}"
                );
                wrong.remove(at);
                assert!(
                    verify_consistency(old, new, &wrong, &old_root, &new_root).is_err(),
                    "{old} to {new}"
                );
            }
        }
        assert_eq!(
            verify_consistency(new + 1, new, &[], &new_root, &new_root),
            Err(ProofError::Outside)
        );
        assert_eq!(
            consistency(new + 1, new, |_, _| None),
            Err(TreeError::Outside)
        );
    }
}

/// Judge: the crate ct-merkle, an independent implementation of RFC 6962.
#[test]
fn another_implementation_agrees() {
    let tree = Tree::of(numbered(LARGEST));
    let mut other = MemoryBackedTree::<Sha256, Vec<u8>>::new();
    let flat = |proof: Vec<Digest>| proof.iter().flat_map(|d| d.0).collect::<Vec<u8>>();
    for (size, leaf) in (1..).zip(numbered(LARGEST)) {
        other.push(leaf);
        assert_eq!(other.root().as_bytes().as_slice(), tree.root(size).0);
        for index in 0..size {
            let ours = flat(inclusion(index, size, |l, i| tree.get(l, i)).unwrap());
            assert_eq!(
                other.prove_inclusion(index as usize).as_bytes(),
                ours,
                "{index} in {size}"
            );
        }
        for old in 1..=size {
            let ours = flat(consistency(old, size, |l, i| tree.get(l, i)).unwrap());
            let theirs = other.prove_consistency((size - old) as usize);
            assert_eq!(theirs.as_bytes(), ours, "{old} to {size}");
        }
    }
}

#[test]
fn the_lists_of_nodes_are_what_is_asked_for() {
    let tree = Tree::of(numbered(LARGEST));
    // Only the nodes that were named are there, and they must do.
    let only = |named: &[(u8, u64)]| -> HashMap<(u8, u64), Digest> {
        named
            .iter()
            .map(|&(l, i)| ((l, i), tree.get(l, i).unwrap()))
            .collect()
    };
    for size in 0..=LARGEST {
        let some = only(&root_nodes(size));
        assert_eq!(
            root(size, |l, i| some.get(&(l, i)).copied()),
            Ok(tree.root(size))
        );
        let resumed = Frontier::from_nodes(size, |l, i| some.get(&(l, i)).copied()).unwrap();
        assert_eq!((resumed.size(), resumed.root()), (size, tree.root(size)));
        for index in 0..size {
            let some = only(&inclusion_nodes(index, size));
            assert!(inclusion(index, size, |l, i| some.get(&(l, i)).copied()).is_ok());
        }
        for old in 0..=size {
            let some = only(&consistency_nodes(old, size));
            assert!(consistency(old, size, |l, i| some.get(&(l, i)).copied()).is_ok());
        }
    }
    assert_eq!(root(6, |_, _| None), Err(TreeError::Missing(2, 0)));
    assert_eq!(
        Frontier::from_nodes(3, |l, _| (l == 1).then(empty_root)),
        Err(TreeError::Missing(0, 2))
    );
    assert_eq!(inclusion(3, 3, |_, _| None), Err(TreeError::Outside));
}

#[test]
fn a_resumed_frontier_goes_on_the_same() {
    let leaves: Vec<_> = numbered(40).collect();
    let whole = Tree::of(leaves.clone());
    for at in 0..40 {
        let mut frontier = Frontier::from_nodes(at, |l, i| whole.get(l, i)).unwrap();
        for leaf in &leaves[at as usize..] {
            for node in frontier.append(leaf_hash(leaf)) {
                assert_eq!(whole.get(node.level, node.index), Some(node.hash));
            }
        }
        assert_eq!(frontier, whole.frontier);
    }
}

#[test]
fn sizes_near_the_end_of_the_range_do_not_overflow() {
    let d = empty_root();
    let size = u64::MAX;
    assert!(root(size, |_, _| None).is_err());
    assert!(inclusion(size - 1, size, |_, _| None).is_err());
    assert!(verify_inclusion(&d, size - 1, size, &[d; 64], &d).is_err());
    assert!(verify_consistency(size - 1, size, &[d; 64], &d, &d).is_err());
    assert_eq!(
        verify_inclusion(&d, 0, 8, &[d; 200], &d),
        Err(ProofError::Length)
    );
}
