//! Readings that are kept for as long as the record stands as it did when they were made: the next who
//! asks for the same costs no reading.

use std::{
    collections::VecDeque,
    sync::{Arc, Mutex, PoisonError},
};

/// The last few readings of a kind, newest last.
pub(crate) struct Recent<K, V> {
    most: usize,
    kept: Mutex<Kept<K, V>>,
}

struct Kept<K, V> {
    /// The record's state that they are of.
    of: u64,
    all: VecDeque<(K, Arc<V>)>,
}

impl<K: PartialEq, V> Recent<K, V> {
    /// Keeps at most so many.
    pub(crate) const fn keeping(most: usize) -> Self {
        Self { most, kept: Mutex::new(Kept { of: 0, all: VecDeque::new() }) }
    }

    /// The reading for this key, if there is one of this state of the record.
    pub(crate) fn get(&self, state: u64, key: &K) -> Option<Arc<V>> {
        let kept = self.kept.lock().unwrap_or_else(PoisonError::into_inner);
        let found = kept.all.iter().find(|(of, _)| kept.of == state && of == key)?;
        Some(Arc::clone(&found.1))
    }

    /// Keeps a reading; those of an earlier state and the oldest beyond the limit go.
    pub(crate) fn put(&self, state: u64, key: K, reading: Arc<V>) {
        let mut kept = self.kept.lock().unwrap_or_else(PoisonError::into_inner);
        if kept.of != state {
            kept.all.clear();
            kept.of = state;
        }
        kept.all.retain(|(of, _)| *of != key);
        kept.all.push_back((key, reading));
        if kept.all.len() > self.most {
            kept.all.pop_front();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_reading_holds_until_the_record_moves_and_a_few_are_kept() {
        let recent = Recent::keeping(2);
        recent.put(7, "a", Arc::new(1));
        recent.put(7, "b", Arc::new(2));
        assert_eq!(recent.get(7, &"a").as_deref(), Some(&1));
        recent.put(7, "c", Arc::new(3));
        assert_eq!(recent.get(7, &"a"), None, "the oldest goes");
        assert_eq!(recent.get(7, &"b").as_deref(), Some(&2));
        assert_eq!(recent.get(8, &"b"), None, "the record has moved");
        recent.put(8, "b", Arc::new(4));
        assert_eq!((recent.get(8, &"b").as_deref(), recent.get(8, &"c")), (Some(&4), None));
    }
}
