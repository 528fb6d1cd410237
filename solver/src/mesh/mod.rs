//! Grid lines in the plane and slices through the thickness.
