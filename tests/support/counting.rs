//! What is allocated, counted: for test programs that show that memory does not grow.

use std::alloc::{GlobalAlloc, Layout, System};
use std::sync::atomic::{AtomicUsize, Ordering};

/// The system's allocator, counted. Who wants it says so: `#[global_allocator] static ALLOCATOR: Counting = Counting;`.
pub struct Counting;

/// Octets that are allocated and not yet given back.
pub static LIVE: AtomicUsize = AtomicUsize::new(0);

// SAFETY: everything is passed on to the system's allocator; the count touches no memory of it.
unsafe impl GlobalAlloc for Counting {
    unsafe fn alloc(&self, layout: Layout) -> *mut u8 {
        LIVE.fetch_add(layout.size(), Ordering::Relaxed);
        // SAFETY: the caller keeps to the same rules.
        unsafe { System.alloc(layout) }
    }

    unsafe fn dealloc(&self, at: *mut u8, layout: Layout) {
        LIVE.fetch_sub(layout.size(), Ordering::Relaxed);
        // SAFETY: the caller keeps to the same rules.
        unsafe { System.dealloc(at, layout) }
    }
}
