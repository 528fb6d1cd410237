//! Functions compiled for the plain instruction set and for the wide ones that the processor may
//! have. No loop reorders a sum, so all versions give the same bits.
//!
//! This and `pages` are the places with `unsafe`: calling a function compiled for instructions that
//! the processor was asked for a line above. What such a function calls is compiled for them only
//! where it is inlined, and a closure may not be: hence `#[inline(always)]` on every kernel.

/// Defines a function that runs the widest of its compiled versions.
macro_rules! widest {
    ($($(#[$meta:meta])* fn $name:ident $(<$g:ident: $bound:path>)? ($($arg:ident: $type:ty),* $(,)?) $(-> $result:ty)? $body:block)*) => {$(
        $(#[$meta])*
        #[allow(clippy::too_many_arguments)]
        pub(super) fn $name $(<$g: $bound>)? ($($arg: $type),*) $(-> $result)? {
            #[inline(always)]
            #[allow(clippy::too_many_arguments)]
            fn plain $(<$g: $bound>)? ($($arg: $type),*) $(-> $result)? $body
            #[cfg(target_arch = "x86_64")]
            {
                #[target_feature(enable = "avx512f,avx512vl,avx512bw,avx512dq")]
                #[allow(clippy::too_many_arguments)]
                fn avx512 $(<$g: $bound>)? ($($arg: $type),*) $(-> $result)? { plain($($arg),*) }
                #[target_feature(enable = "avx2")]
                #[allow(clippy::too_many_arguments)]
                fn avx2 $(<$g: $bound>)? ($($arg: $type),*) $(-> $result)? { plain($($arg),*) }
                if is_x86_feature_detected!("avx512f")
                    && is_x86_feature_detected!("avx512vl")
                    && is_x86_feature_detected!("avx512bw")
                    && is_x86_feature_detected!("avx512dq")
                {
                    // SAFETY: the processor has just been asked for these features.
                    #[allow(unsafe_code)]
                    return unsafe { avx512($($arg),*) };
                }
                if is_x86_feature_detected!("avx2") {
                    // SAFETY: the processor has just been asked for this feature.
                    #[allow(unsafe_code)]
                    return unsafe { avx2($($arg),*) };
                }
            }
            plain($($arg),*)
        }
    )*};
}

pub(super) use widest;
