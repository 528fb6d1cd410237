//! The parts that can be cut into more sheets, and which of them are worth it.

use crate::mesh::Slicing;
use crate::module::Module;

/// A part that can be cut finer: a layer, all attaches, or all die.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Part {
    Layer(usize),
    Attach,
    Die,
}

/// Every part whose count the case leaves open.
pub(super) fn parts(module: &Module) -> Vec<Part> {
    let mut parts: Vec<Part> = (0..module.layers.len())
        .filter(|&l| module.layers[l].slices.is_none())
        .map(Part::Layer)
        .collect();
    if module.die.iter().any(|d| d.attach.is_some()) {
        parts.push(Part::Attach);
    }
    if !module.die.is_empty() {
        parts.push(Part::Die);
    }
    parts
}

/// The parts to refine with their changes, of all that were `tried` with the change (K) that
/// doubling each made, and the sum of the changes that the others leave, K. Each of those is at most `most_K`, and all
/// together at most twice that: what they leave is never lessened by refining, so however many
/// there are, they may not take up the accuracy.
pub(super) fn live_of(mut tried: Vec<(f64, Part)>, most_K: f64) -> (Vec<(f64, Part)>, f64) {
    tried.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut left_K = 0.0;
    let mut live = Vec::new();
    for (change, part) in tried {
        if change <= most_K && left_K + change <= 2.0 * most_K {
            left_K += change;
        } else {
            live.push((change, part));
        }
    }
    (live, left_K)
}

/// `slicing` with the sheets of `parts` multiplied.
pub(super) fn scaled(slicing: &Slicing, parts: &[Part], factor: usize) -> Slicing {
    let mut finer = slicing.clone();
    for part in parts {
        match part {
            Part::Layer(l) => finer.layers[*l] *= factor,
            Part::Attach => finer.die.iter_mut().for_each(|d| d[0] *= factor),
            Part::Die => finer.die.iter_mut().for_each(|d| d[1] *= factor),
        }
    }
    finer
}

/// Most sheets of any of `parts`; what the case states for others does not count.
pub(super) fn most_slices(slicing: &Slicing, parts: &[Part]) -> usize {
    let of = |part: &Part| match part {
        Part::Layer(l) => slicing.layers[*l],
        Part::Attach => slicing.die.iter().map(|d| d[0]).max().unwrap_or(1),
        Part::Die => slicing.die.iter().map(|d| d[1]).max().unwrap_or(1),
    };
    parts.iter().map(of).max().unwrap_or(1)
}

/// `slicing` with the sheets of the layers whose count the case states doubled; `None` where it
/// states none.
pub(super) fn stated_doubled(module: &Module, slicing: &Slicing) -> Option<Slicing> {
    let mut finer = slicing.clone();
    for (count, layer) in finer.layers.iter_mut().zip(&module.layers) {
        if layer.slices.is_some() {
            *count *= 2;
        }
    }
    (finer != *slicing).then_some(finer)
}

/// `slicing` with every count doubled.
pub(super) fn all_doubled(slicing: &Slicing) -> Slicing {
    Slicing {
        layers: slicing.layers.iter().map(|n| 2 * n).collect(),
        die: slicing.die.iter().map(|[a, d]| [2 * a, 2 * d]).collect(),
    }
}

#[cfg(test)]
mod tests {
    use super::super::estimate;
    use super::*;

    #[test]
    fn parts_left_alone_never_take_up_the_accuracy_however_many_there_are() {
        let tried = (0..12).map(|l| (0.0049, Part::Layer(l))).collect();
        let (live, left_K) = live_of(tried, 0.005);
        assert_eq!(live.len(), 10);
        assert!(estimate::thickness(left_K) < 0.03, "of an accuracy of 0.1 K");
        let (live, left_K) = live_of(vec![(0.2, Part::Die), (0.001, Part::Attach)], 0.005);
        assert_eq!((live, left_K), (vec![(0.2, Part::Die)], 0.001));
        let (live, _) = live_of(vec![(f64::INFINITY, Part::Die)], 0.005);
        assert_eq!(live, [(f64::INFINITY, Part::Die)]);
    }
}
