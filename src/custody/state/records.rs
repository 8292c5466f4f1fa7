//! Records by their identifiers.

use std::collections::HashMap;
use std::hash::Hash;

/// Records by their identifiers, each by itself in memory: a table that is full is doubled, which for a million records of more than
/// a kilobyte each would be twice what they need, and three times while they are moved.
#[derive(Clone, Debug, PartialEq)]
pub struct Records<K: Eq + Hash, V>(HashMap<K, Box<V>>);

impl<K: Eq + Hash, V> Default for Records<K, V> {
    fn default() -> Self {
        Self(HashMap::new())
    }
}

impl<K: Copy + Eq + Hash, V> Records<K, V> {
    /// One record.
    #[must_use]
    pub fn get(&self, id: &K) -> Option<&V> {
        self.0.get(id).map(AsRef::as_ref)
    }

    /// One record, to change it.
    pub fn get_mut(&mut self, id: &K) -> Option<&mut V> {
        self.0.get_mut(id).map(AsMut::as_mut)
    }

    /// Whether it is there.
    #[must_use]
    pub fn contains_key(&self, id: &K) -> bool {
        self.0.contains_key(id)
    }

    /// Puts a record in; the one that it takes the place of.
    pub fn insert(&mut self, id: K, record: V) -> Option<V> {
        self.0.insert(id, Box::new(record)).map(|old| *old)
    }

    /// Puts all of others in.
    pub fn append(&mut self, others: Self) {
        self.0.extend(others.0);
    }

    /// Takes a record out.
    pub fn remove(&mut self, id: &K) -> Option<V> {
        self.0.remove(id).map(|old| *old)
    }

    /// Every identifier, in no particular order.
    pub fn keys(&self) -> impl Iterator<Item = &K> {
        self.0.keys()
    }

    /// Every record, in no particular order.
    pub fn values(&self) -> impl Iterator<Item = &V> + Clone {
        self.0.values().map(AsRef::as_ref)
    }

    /// Every record, to change it, in no particular order.
    pub fn values_mut(&mut self) -> impl Iterator<Item = &mut V> {
        self.0.values_mut().map(AsMut::as_mut)
    }

    /// How many there are.
    #[must_use]
    pub fn len(&self) -> usize {
        self.0.len()
    }

    /// Whether there is none.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }
}

impl<K: Copy + Eq + Hash, V> std::ops::Index<&K> for Records<K, V> {
    type Output = V;

    /// The record; panics where there is none, as a map does.
    fn index(&self, id: &K) -> &V {
        &self.0[id]
    }
}
