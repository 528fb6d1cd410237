//! An allocator that counts: how much memory a thread has at most had at once.

use std::alloc::{GlobalAlloc, Layout, System};
use std::cell::Cell;

thread_local! {
    static HELD: Cell<isize> = const { Cell::new(0) };
    static MOST: Cell<isize> = const { Cell::new(0) };
}

fn add(bytes: isize) {
    // No thread-local left while a thread ends: nobody measures there.
    let _ = HELD.try_with(|held| {
        held.set(held.get() + bytes);
        let _ = MOST.try_with(|most| most.set(most.get().max(held.get())));
    });
}

/// The system's allocator, counting for each thread.
pub struct Counting;

// SAFETY: every call goes to the system's allocator with its own arguments.
unsafe impl GlobalAlloc for Counting {
    unsafe fn alloc(&self, layout: Layout) -> *mut u8 {
        add(layout.size() as isize);
        // SAFETY: the caller keeps the contract of `alloc`.
        unsafe { System.alloc(layout) }
    }
    unsafe fn alloc_zeroed(&self, layout: Layout) -> *mut u8 {
        add(layout.size() as isize);
        // SAFETY: the caller keeps the contract of `alloc_zeroed`.
        unsafe { System.alloc_zeroed(layout) }
    }
    unsafe fn dealloc(&self, pointer: *mut u8, layout: Layout) {
        add(-(layout.size() as isize));
        // SAFETY: the caller keeps the contract of `dealloc`.
        unsafe { System.dealloc(pointer, layout) }
    }
    unsafe fn realloc(&self, pointer: *mut u8, layout: Layout, size: usize) -> *mut u8 {
        // While it moves a block, both are there.
        add(size as isize);
        add(-(layout.size() as isize));
        // SAFETY: the caller keeps the contract of `realloc`.
        unsafe { System.realloc(pointer, layout, size) }
    }
}

/// Bytes that this thread held at most at once while `work` ran, beyond what it held before.
pub fn most_held<R>(work: impl FnOnce() -> R) -> (R, usize) {
    let before = HELD.with(Cell::get);
    MOST.with(|most| most.set(before));
    let result = work();
    (result, (MOST.with(Cell::get) - before).max(0) as usize)
}
