//! Large vectors of zeros on large pages.
//!
//! A vector that is touched for the first time costs a page fault for every 4 KiB, which is a
//! quarter of the processor time of a whole solve. Where the system leaves the choice to the
//! program, ask for large pages. This and `linear::widest` are the places with `unsafe`.

/// `n` zeros. Large vectors are laid on large pages where the system has them.
pub(crate) fn zeros<T: Clone + Default>(n: usize) -> Vec<T> {
    let vector = vec![T::default(); n];
    #[cfg(all(target_os = "linux", target_pointer_width = "64"))]
    advise(vector.as_ptr().cast(), n * size_of::<T>());
    vector
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
}
