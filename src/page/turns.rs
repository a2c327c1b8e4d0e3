//! Which answers nobody waits for any more.
//!
//! Every tab of the browser counts its questions upwards, kind by kind. A question is stale once the tab has asked a newer one of the same kind;
//! its work is not begun, or is given up. So is work whose asker has gone: a browser that cancels a question closes its connection. Work of one kind waits for the work before it, so that a slider that moves does not
//! fill all cores with pictures that nobody will see.

use std::collections::HashMap;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

/// Tabs that are remembered; the one that has been silent longest is forgotten first.
pub const MOST_KEPT: usize = 64;

/// The newest question of every tab and kind.
#[derive(Debug, Default)]
pub struct Turns {
    newest: Mutex<Newest>,
}

#[derive(Debug, Default)]
struct Newest {
    /// The newest number and when it was asked, counted in questions.
    of: HashMap<(String, &'static str), (u64, u64)>,
    asked: u64,
}

/// A question's place among the others of its tab.
#[derive(Clone, Debug)]
pub struct Turn {
    turns: Arc<Turns>,
    key: (String, &'static str),
    seq: u64,
    gone: Arc<AtomicBool>,
}

/// Whoever waits for an answer; when this is dropped nobody does any more.
#[derive(Debug)]
pub struct Asker(Arc<AtomicBool>);

impl Drop for Asker {
    fn drop(&mut self) {
        self.0.store(true, Ordering::Relaxed);
    }
}

impl Turns {
    fn lock(&self) -> MutexGuard<'_, Newest> {
        // A panic elsewhere leaves numbers that are still right.
        self.newest.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Takes a question in; `None` when it is stale already.
    #[must_use]
    pub fn take(self: &Arc<Turns>, page: &str, kind: &'static str, seq: u64) -> Option<Turn> {
        let key = (page.to_owned(), kind);
        let mut newest = self.lock();
        newest.asked += 1;
        let asked = newest.asked;
        let known = newest.of.get(&key).map(|(seq, _)| *seq);
        if known.is_some_and(|known| known > seq) {
            return None;
        }
        newest.of.insert(key.clone(), (seq, asked));
        if newest.of.len() > MOST_KEPT {
            let oldest = newest.of.iter().min_by_key(|(_, (_, asked))| *asked).map(|(key, _)| key.clone());
            if let Some(oldest) = oldest {
                newest.of.remove(&oldest);
            }
        }
        Some(Turn { turns: Arc::clone(self), key, seq, gone: Arc::default() })
    }
}

impl Turn {
    /// Who waits for the answer: to be kept as long as somebody does.
    #[must_use]
    pub fn asker(&self) -> Asker {
        Asker(Arc::clone(&self.gone))
    }

    /// Whether a newer question has come meanwhile, or the asker has gone.
    #[must_use]
    pub fn is_stale(&self) -> bool {
        self.gone.load(Ordering::Relaxed)
            || self.turns.lock().of.get(&self.key).is_some_and(|(seq, _)| *seq > self.seq)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn newer_questions_make_older_ones_stale() {
        let turns = Arc::new(Turns::default());
        let first = turns.take("tab", "picture", 1).expect("new");
        assert!(!first.is_stale());
        let other_kind = turns.take("tab", "numbers", 2).expect("another kind");
        let other_tab = turns.take("other", "picture", 2).expect("another tab");
        assert!(!first.is_stale() && !other_kind.is_stale() && !other_tab.is_stale());
        let second = turns.take("tab", "picture", 2).expect("newer");
        assert!(first.is_stale() && !second.is_stale());
        assert!(turns.take("tab", "picture", 1).is_none(), "late");
        assert!(turns.take("tab", "picture", 2).is_some(), "the same again, as after a reload");
    }

    #[test]
    fn what_nobody_waits_for_is_stale() {
        let turns = Arc::new(Turns::default());
        let turn = turns.take("tab", "picture", 1).expect("new");
        let asker = turn.asker();
        assert!(!turn.is_stale());
        drop(asker);
        assert!(turn.is_stale());
    }

    #[test]
    fn memory_is_bounded() {
        let turns = Arc::new(Turns::default());
        for i in 0..10 * MOST_KEPT {
            let _ = turns.take(&format!("tab {i}"), "picture", 1);
        }
        assert_eq!(turns.lock().of.len(), MOST_KEPT);
    }
}
