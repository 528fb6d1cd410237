//! Where it is hottest, in words.

use crate::conduction::Network;

/// Names the hottest column, for messages.
pub(super) fn hottest_place(network: &Network, x: &[f64]) -> String {
    let mut hottest = (f64::NEG_INFINITY, 0, 0);
    let plane = &network.mesh.plane;
    for j in 0..plane.ny() {
        for i in 0..plane.nx() {
            let rise = x[network.wet_top_unknown(i, j)];
            if rise > hottest.0 || rise.is_nan() {
                hottest = (rise, i, j);
            }
        }
    }
    let (_, i, j) = hottest;
    let [cx, cy] = plane.cell(i, j).centre_m();
    let die =
        network.module.die.iter().find(|d| {
            d.rect.x0_m <= cx && cx <= d.rect.x1_m && d.rect.y0_m <= cy && cy <= d.rect.y1_m
        });
    let place = die.map_or_else(|| "substrate".to_owned(), |d| format!("die {}", d.name));
    format!("hottest at x = {:.3} mm, y = {:.3} mm, {place}", cx * 1e3, cy * 1e3)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::study::testing;

    #[test]
    fn the_hottest_column_is_named_with_its_die_and_a_broken_number_is_hotter_than_any() {
        let module = testing::prescribed();
        let mesh = testing::mesh(&module);
        let network = Network::new(&module, &mesh);
        let mut x = vec![-50.0; network.unknowns()];
        let in_die = mesh.islands[1].cells;
        x[network.wet_top_unknown(in_die.i0, in_die.j1 - 1)] = -10.0;
        // A sheet below the surface does not count.
        x[0] = 90.0;
        let [cx, cy] = mesh.plane.cell(in_die.i0, in_die.j1 - 1).centre_m().map(|m| m * 1e3);
        let words = format!("hottest at x = {cx:.3} mm, y = {cy:.3} mm, die L1");
        assert_eq!(hottest_place(&network, &x), words);
        // Of two alike the first, so that the words do not hang on rounding.
        x[network.wet_top_unknown(in_die.i0 + 1, in_die.j1 - 1)] = -10.0;
        assert_eq!(hottest_place(&network, &x), words);
        let corner = network.wet_top_unknown(0, 0);
        x[corner] = f64::NAN;
        assert!(hottest_place(&network, &x).ends_with("substrate"));
    }
}
