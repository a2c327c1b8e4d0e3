//! What is worked on first: a picture before numbers, numbers before the curve over the gap.
//!
//! Numbers and curves are long work in pieces ([`crate::judge::pace`]). Each rank has threads of its own, so that what waits between two
//! pieces keeps nobody else from working; files to take away and the shelf's swatches are made on threads aside as well.

use super::turns::Turn;
use crate::judge::pace::Pace;
use rayon::{ThreadPool, ThreadPoolBuilder};
use std::sync::atomic::{AtomicU32, Ordering};
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

/// A wait between two pieces is looked at again after so long: the question may have become stale.
const LOOK_AGAIN: Duration = Duration::from_millis(20);

/// Kinds of work, the more pressing first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Rank {
    /// Pictures.
    Picture,
    /// Numbers.
    Numbers,
    /// The curve over the gap.
    Curve,
    /// Files, films and swatches.
    Aside,
}

/// Ranks.
const RANKS: usize = 4;

impl Rank {
    /// How often one question of this rank waits for more pressing ones, in pieces of [`LOOK_AGAIN`], before it goes on all the same: numbers
    /// must follow a hand that does not rest, a curve may take its time.
    fn most_waits(self) -> u32 {
        match self {
            Rank::Picture | Rank::Aside => 0,
            Rank::Numbers => 20,
            Rank::Curve => 400,
        }
    }
}

/// What is under way, by rank.
#[derive(Debug)]
pub struct Order {
    under_way: Mutex<[usize; RANKS]>,
    done: Condvar,
    /// Threads of the ranks after the first; without them work is done on the common ones and does not wait.
    threads: [Option<ThreadPool>; RANKS],
}

impl Default for Order {
    fn default() -> Order {
        let threads = || ThreadPoolBuilder::new().build().ok();
        Order {
            under_way: Mutex::default(),
            done: Condvar::new(),
            threads: [None, threads(), threads(), threads()],
        }
    }
}

impl Order {
    fn lock(&self) -> MutexGuard<'_, [usize; RANKS]> {
        // A panic elsewhere leaves counts that are still right: they are taken back when guards are dropped.
        self.under_way.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Notes that work of a rank is wanted, until the guard is dropped.
    #[must_use]
    pub fn begin(self: &Arc<Order>, rank: Rank) -> UnderWay {
        self.lock()[rank as usize] += 1;
        UnderWay { order: Arc::clone(self), rank }
    }

    /// Does work on the threads of a rank.
    pub fn run<T: Send>(&self, rank: Rank, work: impl FnOnce() -> T + Send) -> T {
        match &self.threads[rank as usize] {
            Some(threads) => threads.install(work),
            None => work(),
        }
    }

    /// Waits while more pressing work is under way, for at most so many looks; how many there were.
    fn wait(&self, rank: Rank, most: u32, stale: &dyn Fn() -> bool) -> u32 {
        let mut looks = 0;
        let mut under_way = self.lock();
        while looks < most && !stale() && under_way[..rank as usize].iter().any(|count| *count > 0) {
            let (again, wait) =
                self.done.wait_timeout(under_way, LOOK_AGAIN).unwrap_or_else(PoisonError::into_inner);
            under_way = again;
            looks += u32::from(wait.timed_out());
        }
        looks
    }
}

/// Work that is wanted.
#[derive(Debug)]
pub struct UnderWay {
    order: Arc<Order>,
    rank: Rank,
}

impl Drop for UnderWay {
    fn drop(&mut self) {
        let mut under_way = self.order.lock();
        under_way[self.rank as usize] = under_way[self.rank as usize].saturating_sub(1);
        drop(under_way);
        self.order.done.notify_all();
    }
}

/// Nobody waits for the answer any more.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Stale;

/// The pace of one question: lets more pressing ones go first, and gives up when nobody waits for the answer any more.
#[derive(Debug)]
pub struct GivesWay<'a> {
    order: &'a Order,
    rank: Rank,
    turn: &'a Turn,
    left: AtomicU32,
}

impl<'a> GivesWay<'a> {
    /// The pace of a question of a rank.
    #[must_use]
    pub fn new(order: &'a Order, rank: Rank, turn: &'a Turn) -> GivesWay<'a> {
        let most = if order.threads[rank as usize].is_some() { rank.most_waits() } else { 0 };
        GivesWay { order, rank, turn, left: AtomicU32::new(most) }
    }
}

impl Pace for GivesWay<'_> {
    type Stop = Stale;

    fn go_on(&self) -> Result<(), Stale> {
        let left = self.left.load(Ordering::Relaxed);
        let looks = self.order.wait(self.rank, left, &|| self.turn.is_stale());
        // Several threads may wait at once; that all of them count only makes the wait end sooner.
        let _ = self
            .left
            .fetch_update(Ordering::Relaxed, Ordering::Relaxed, |left| Some(left.saturating_sub(looks)));
        if self.turn.is_stale() { Err(Stale) } else { Ok(()) }
    }
}

#[cfg(test)]
mod tests {
    use super::super::turns::Turns;
    use super::*;
    use std::sync::mpsc;

    #[test]
    fn a_curve_waits_for_pictures_and_goes_on_after_them() {
        let order = Arc::new(Order::default());
        let turn = Arc::new(Turns::default()).take("tab", "gap-chart", 1).expect("new");
        let pace = GivesWay::new(&order, Rank::Curve, &turn);
        assert_eq!(pace.go_on(), Ok(()), "nothing is under way");
        let picture = order.begin(Rank::Picture);
        let (tell, told) = mpsc::channel();
        std::thread::scope(|scope| {
            scope.spawn(|| {
                let went = pace.go_on();
                tell.send(went).expect("somebody listens");
            });
            assert!(told.recv_timeout(3 * LOOK_AGAIN).is_err(), "it waits");
            drop(picture);
            assert_eq!(told.recv_timeout(100 * LOOK_AGAIN), Ok(Ok(())), "it goes on");
        });
        // What is less pressing holds nobody up.
        let _curve = order.begin(Rank::Curve);
        let numbers = GivesWay::new(&order, Rank::Numbers, &turn);
        assert_eq!(
            (numbers.go_on(), numbers.left.load(Ordering::Relaxed)),
            (Ok(()), Rank::Numbers.most_waits())
        );
    }

    #[test]
    fn waiting_ends_when_the_question_is_stale_or_has_waited_long_enough() {
        let order = Arc::new(Order::default());
        let turns = Arc::new(Turns::default());
        let _picture = order.begin(Rank::Picture);
        let turn = turns.take("tab", "numbers", 1).expect("new");
        let pace = GivesWay::new(&order, Rank::Numbers, &turn);
        assert_eq!(pace.go_on(), Ok(()), "though the picture is never done");
        assert_eq!(pace.left.load(Ordering::Relaxed), 0);
        let old = turns.take("tab", "gap-chart", 1).expect("new");
        let _new = turns.take("tab", "gap-chart", 2).expect("newer");
        let pace = GivesWay::new(&order, Rank::Curve, &old);
        assert_eq!(pace.go_on(), Err(Stale));
        assert_eq!(pace.left.load(Ordering::Relaxed), Rank::Curve.most_waits(), "it did not wait");
    }

    #[test]
    fn each_rank_has_threads_of_its_own() {
        let order = Order::default();
        let name =
            |rank| order.run(rank, || (0..4).map(|_| rayon::current_thread_index()).collect::<Vec<_>>());
        assert!(name(Rank::Curve).iter().all(Option::is_some));
        assert!(name(Rank::Picture).iter().all(Option::is_none), "on the common ones");
    }
}
