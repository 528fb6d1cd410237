//! One step of minimising the largest of several functions that are known by value and gradient.

/// A function near the present point: its value there, and its gradient.
#[derive(Debug, Clone)]
pub(super) struct Row {
    pub value: f64,
    pub gradient: Vec<f64>,
}

impl Row {
    pub fn after(&self, d: &[f64]) -> f64 {
        self.value + dot(&self.gradient, d)
    }
}

/// Largest goal plus `penalty` times the largest condition above zero.
#[derive(Debug, Clone)]
pub(super) struct Model {
    pub goals: Vec<Row>,
    /// Kept where not above zero.
    pub conditions: Vec<Row>,
    pub penalty: f64,
}

impl Model {
    pub fn after(&self, d: &[f64]) -> f64 {
        let goal = self.goals.iter().map(|r| r.after(d)).fold(f64::NEG_INFINITY, f64::max);
        let broken = self.conditions.iter().map(|r| r.after(d)).fold(0.0, f64::max);
        goal + self.penalty * broken
    }
}

/// Where a step may go.
#[derive(Debug, Clone)]
pub(super) struct Room {
    pub low: Vec<f64>,
    pub high: Vec<f64>,
    /// `sum of cost x d` stays below `left`.
    pub cost: Vec<f64>,
    pub left: f64,
}

/// Iterations on the weights of the rows.
const ROUNDS: usize = 500;

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

/// The step d within `room` that minimises
///
/// ```text
/// max over goals (f + g.d) + penalty max(0, max over conditions (f + g.d)) + |d|² / (2 reach)
/// ```
///
/// from its dual: with weights w of the rows (goals on the unit simplex, conditions and zero on
/// `penalty` times it) the best d is the projection of `-reach (sum of w g)` onto the room, and
/// the dual is concave in w with the gradient `f + g.d`; Nesterov's accelerated ascent.
pub(super) fn step(model: &Model, room: &Room, reach: f64) -> Vec<f64> {
    let n = room.low.len();
    let n_goals = model.goals.len();
    let rows: Vec<&Row> = model.goals.iter().chain(&model.conditions).collect();
    let squares: f64 = rows.iter().map(|r| dot(&r.gradient, &r.gradient)).sum();
    let rate = 1.0 / (reach * squares).max(f64::MIN_POSITIVE);
    let best = |w: &[f64]| -> Vec<f64> {
        let mut slope = vec![0.0; n];
        for (row, &weight) in rows.iter().zip(w) {
            if weight != 0.0 {
                for (s, g) in slope.iter_mut().zip(&row.gradient) {
                    *s += weight * g;
                }
            }
        }
        projected(&slope, room, reach)
    };
    let mut w = vec![0.0; rows.len()];
    w[..n_goals].fill(1.0 / n_goals as f64);
    let mut ahead = w.clone();
    let mut momentum = 1.0f64;
    for _ in 0..ROUNDS {
        let d = best(&ahead);
        let mut next: Vec<f64> =
            rows.iter().zip(&ahead).map(|(row, a)| a + rate * row.after(&d)).collect();
        let (goals, conditions) = next.split_at_mut(n_goals);
        onto_simplex(goals, 1.0, true);
        onto_simplex(conditions, model.penalty, false);
        let faster = 0.5 * (1.0 + (1.0 + 4.0 * momentum * momentum).sqrt());
        let carry = (momentum - 1.0) / faster;
        // Against the ascent: start the momentum anew.
        let uphill: f64 =
            ahead.iter().zip(&next).zip(&w).map(|((a, n), w)| (a - n) * (n - w)).sum();
        let carry = if uphill > 0.0 { 0.0 } else { carry };
        momentum = if uphill > 0.0 { 1.0 } else { faster };
        ahead = next.iter().zip(&w).map(|(n, w)| n + carry * (n - w)).collect();
        w = next;
    }
    best(&w)
}

/// `-reach slope` brought into the room: the nearest point of it.
fn projected(slope: &[f64], room: &Room, reach: f64) -> Vec<f64> {
    let at = |price: f64| -> Vec<f64> {
        (0..slope.len())
            .map(|i| {
                (-reach * (slope[i] + price * room.cost[i])).max(room.low[i]).min(room.high[i])
            })
            .collect()
    };
    let free = at(0.0);
    if dot(&room.cost, &free) <= room.left {
        return free;
    }
    let (mut low, mut high) = (0.0, 1.0);
    while dot(&room.cost, &at(high)) > room.left && high < 1e12 {
        (low, high) = (high, 4.0 * high);
    }
    for _ in 0..50 {
        let middle = 0.5 * (low + high);
        if dot(&room.cost, &at(middle)) > room.left { low = middle } else { high = middle }
    }
    at(high)
}

/// The nearest point whose entries are not negative and sum to `size`, or to at most `size`.
fn onto_simplex(values: &mut [f64], size: f64, exactly: bool) {
    if !exactly {
        let sum: f64 = values.iter().map(|v| v.max(0.0)).sum();
        if sum <= size {
            values.iter_mut().for_each(|v| *v = v.max(0.0));
            return;
        }
    }
    let mut sorted = values.to_vec();
    sorted.sort_by(|a, b| b.total_cmp(a));
    let (mut sum, mut shift) = (0.0, 0.0);
    for (k, v) in sorted.iter().enumerate() {
        sum += v;
        let here = (sum - size) / (k + 1) as f64;
        if *v > here {
            shift = here;
        }
    }
    values.iter_mut().for_each(|v| *v = (*v - shift).max(0.0));
}

#[cfg(test)]
mod tests {
    use super::*;

    fn row(value: f64, gradient: &[f64]) -> Row {
        Row { value, gradient: gradient.to_vec() }
    }

    fn room(n: usize, size: f64) -> Room {
        Room { low: vec![-size; n], high: vec![size; n], cost: vec![0.0; n], left: 0.0 }
    }

    #[test]
    fn opposing_rows_meet_where_they_are_equal() {
        // max(1 + d, -d): least at d = -1/2.
        let goals = vec![row(1.0, &[1.0]), row(0.0, &[-1.0])];
        let model = Model { goals, conditions: Vec::new(), penalty: 10.0 };
        let d = step(&model, &room(1, 3.0), 100.0);
        assert!((d[0] + 0.5).abs() < 1e-3, "{d:?}");
    }

    #[test]
    fn a_condition_stops_the_step_where_it_begins_to_break() {
        // Least d, but d >= -0.3.
        let goals = vec![row(0.0, &[1.0, 0.0])];
        let conditions = vec![row(-0.3, &[-1.0, 0.0])];
        let model = Model { goals, conditions, penalty: 10.0 };
        let d = step(&model, &room(2, 3.0), 10.0);
        assert!((d[0] + 0.3).abs() < 1e-3 && d[1].abs() < 1e-9, "{d:?}");
    }

    #[test]
    fn a_budget_is_shared_as_the_gradients_ask() {
        let goals = vec![row(0.0, &[-1.0, -3.0])];
        let model = Model { goals, conditions: Vec::new(), penalty: 1.0 };
        let room = Room { cost: vec![1.0, 1.0], left: 0.5, ..room(2, 1.0) };
        let d = step(&model, &room, 100.0);
        assert!(d[0] + d[1] <= 0.5 + 1e-9, "{d:?}");
        assert!((d[1] - 1.0).abs() < 1e-6 && (d[0] + 0.5).abs() < 1e-6, "{d:?}");
    }

    #[test]
    fn the_nearest_point_of_a_simplex() {
        let mut inside = [0.2, 0.3];
        onto_simplex(&mut inside, 1.0, false);
        assert_eq!(inside, [0.2, 0.3]);
        onto_simplex(&mut inside, 1.0, true);
        assert!((inside[0] - 0.45).abs() < 1e-12 && (inside[1] - 0.55).abs() < 1e-12);
        let mut far = [3.0, -1.0, 0.5];
        onto_simplex(&mut far, 1.0, true);
        assert_eq!(far, [1.0, 0.0, 0.0]);
    }
}
