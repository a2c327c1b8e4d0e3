//! An allocator that counts, for tests that hold memory against a bound. It counts the whole process: such tests take turns.

use std::alloc::{GlobalAlloc, Layout, System};
use std::sync::atomic::{AtomicUsize, Ordering::Relaxed};

/// More than this together is refused, which ends the process: a mistake must not fill the memory of the machine.
const MOST_AT_ALL: usize = 6 << 30;

static LIVE: AtomicUsize = AtomicUsize::new(0);
static PEAK: AtomicUsize = AtomicUsize::new(0);

pub(crate) struct Counted;

// SAFETY: every call goes on to the system's allocator with the same arguments; the counting allocates nothing.
#[allow(unsafe_code, reason = "an allocator cannot be had otherwise")]
unsafe impl GlobalAlloc for Counted {
    unsafe fn alloc(&self, layout: Layout) -> *mut u8 {
        if !taken(layout.size()) {
            return std::ptr::null_mut();
        }
        unsafe { System.alloc(layout) }
    }

    unsafe fn alloc_zeroed(&self, layout: Layout) -> *mut u8 {
        if !taken(layout.size()) {
            return std::ptr::null_mut();
        }
        unsafe { System.alloc_zeroed(layout) }
    }

    unsafe fn dealloc(&self, place: *mut u8, layout: Layout) {
        LIVE.fetch_sub(layout.size(), Relaxed);
        unsafe { System.dealloc(place, layout) }
    }

    unsafe fn realloc(&self, place: *mut u8, layout: Layout, size: usize) -> *mut u8 {
        // Both pieces may be there for a moment; large ones the system moves without, so the larger one alone is counted.
        if size > layout.size() {
            if !taken(size - layout.size()) {
                return std::ptr::null_mut();
            }
        } else {
            LIVE.fetch_sub(layout.size() - size, Relaxed);
        }
        unsafe { System.realloc(place, layout, size) }
    }
}

fn taken(size: usize) -> bool {
    let live = LIVE.fetch_add(size, Relaxed) + size;
    if live > MOST_AT_ALL {
        LIVE.fetch_sub(size, Relaxed);
        return false;
    }
    PEAK.fetch_max(live, Relaxed);
    true
}

/// What work takes at its worst beyond what is there before it, in bytes, and what it gives.
pub(crate) fn peak_of<T>(work: impl FnOnce() -> T) -> (usize, T) {
    let before = LIVE.load(Relaxed);
    PEAK.store(before, Relaxed);
    let made = work();
    (PEAK.load(Relaxed).saturating_sub(before), made)
}
