//! Large vectors of zeros, laid where the machine handles them well.
//!
//! A vector that is touched for the first time costs a page fault for every 4 KiB, which is a
//! quarter of the processor time of a whole solve. Where the system leaves the choice to the
//! program, ask for large pages. This and `linear::widest` are the places with `unsafe`.

use std::ops::{Deref, DerefMut};

/// `n` zeros. Large vectors are laid on large pages where the system has them.
pub(crate) fn zeros<T: Clone + Default>(n: usize) -> Vec<T> {
    let vector = vec![T::default(); n];
    #[cfg(all(target_os = "linux", target_pointer_width = "64"))]
    advise(vector.as_ptr().cast(), n * size_of::<T>());
    vector
}

/// Bytes that the processor's memory moves at once.
pub(crate) const LINE: usize = 64;

/// Numbers from the beginning of a line of the processor's memory on. The system lays a vector a
/// quarter of a line behind it: then every access to sixteen numbers is one to two lines.
#[derive(Debug, Default)]
pub(crate) struct Lined<T> {
    data: Vec<T>,
    /// Entries before the beginning of the line.
    first: usize,
    len: usize,
}

/// `n` zeros as [`zeros`] has them, from the beginning of a line on.
pub(crate) fn lined<T: Clone + Default>(n: usize) -> Lined<T> {
    let spare = LINE / size_of::<T>();
    let data: Vec<T> = zeros(n + spare);
    let first = data.as_ptr().align_offset(LINE).min(spare);
    Lined { data, first, len: n }
}

impl<T> Deref for Lined<T> {
    type Target = [T];

    fn deref(&self) -> &[T] {
        &self.data[self.first..self.first + self.len]
    }
}

impl<T> DerefMut for Lined<T> {
    fn deref_mut(&mut self) -> &mut [T] {
        &mut self.data[self.first..self.first + self.len]
    }
}

impl<T: Copy + Default> Clone for Lined<T> {
    fn clone(&self) -> Self {
        let mut copy = lined(self.len);
        copy.copy_from_slice(self);
        copy
    }
}

#[cfg(all(target_os = "linux", target_pointer_width = "64"))]
fn advise(start: *const std::ffi::c_void, bytes: usize) {
    /// `MADV_HUGEPAGE` of Linux's `madvise(2)`.
    const HUGE_PAGE: std::ffi::c_int = 14;
    const PAGE: usize = 4096;
    #[allow(unsafe_code)]
    unsafe extern "C" {
        fn madvise(
            start: *const std::ffi::c_void,
            bytes: usize,
            advice: std::ffi::c_int,
        ) -> std::ffi::c_int;
    }
    if bytes < 4 << 20 {
        return;
    }
    let skip = (start as usize).next_multiple_of(PAGE) - start as usize;
    let whole = (bytes - skip) / PAGE * PAGE;
    // SAFETY: the range lies within a live allocation and is cut to whole pages; the advice
    // changes how the system backs the range, not what it holds. A refusal changes nothing.
    #[allow(unsafe_code)]
    unsafe {
        madvise(start.wrapping_byte_add(skip), whole, HUGE_PAGE);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn vectors_of_any_size_hold_zeros() {
        for n in [0, 1, 1000, 3_000_001] {
            let v: Vec<f32> = zeros(n);
            assert!(v.len() == n && v.iter().all(|&x| x == 0.0));
        }
    }

    #[test]
    fn numbers_begin_with_a_line_and_so_do_their_copies() {
        for n in [0, 1, 17, 1000, 300_001] {
            let mut v: Lined<f32> = lined(n);
            assert!(v.len() == n && v.iter().all(|&x| x == 0.0));
            v.iter_mut().enumerate().for_each(|(k, v)| *v = k as f32);
            let copy = v.clone();
            assert!(copy.len() == n && copy.iter().enumerate().all(|(k, &v)| v == k as f32));
            for v in [v, copy] {
                assert!(n == 0 || (v.as_ptr() as usize).is_multiple_of(LINE));
            }
        }
    }
}
