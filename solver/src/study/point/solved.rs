//! What a solved point tells, in words and as plain numbers.

/// One junction at a point of a study.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PointJunction {
    /// Highest temperature, K.
    pub max_K: f64,
    /// Mean temperature, K.
    pub mean_K: f64,
    /// Highest temperature as the mesh of the point has it, K.
    pub on_mesh_K: f64,
    /// Estimated numerical error of `max_K` and `mean_K`, K.
    pub uncertainty_K: f64,
    /// Limit at this point, K.
    pub limit_K: Option<f64>,
    /// Share of the wet face on which drops land, 0 to 1; `None` without nozzles.
    pub wetted_share: Option<f64>,
    /// Smallest local CHF over local heat flux; `None` without nozzles.
    pub chf_margin: Option<f64>,
    /// Estimated numerical error of `chf_margin`, where there is one.
    pub chf_margin_uncertainty: Option<f64>,
}

impl PointJunction {
    /// `limit - max - uncertainty`, K.
    pub fn margin_K(&self) -> Option<f64> {
        self.limit_K.map(|limit| limit - self.max_K - self.uncertainty_K)
    }

    /// The margin to burn-out less its uncertainty.
    pub fn sure_chf_margin(&self) -> Option<f64> {
        Some(self.chf_margin? - self.chf_margin_uncertainty.unwrap_or(0.0))
    }

    /// Whether the limit or the margin to burn-out is broken, as far as the uncertainties reach.
    pub fn is_broken(&self) -> bool {
        self.margin_K().is_some_and(|margin| margin < 0.0)
            || self.sure_chf_margin().is_some_and(|margin| margin < 1.0)
    }
}

/// What a solved point tells.
#[derive(Debug, Clone, PartialEq)]
pub struct SolvedPoint {
    /// Die in case order, then heaters.
    pub junctions: Vec<PointJunction>,
    /// Smallest local CHF over local heat flux anywhere on the spray side; `None` without nozzles.
    pub least_chf_margin: Option<f64>,
    /// Liquid that the nozzles spray, m³/s; 0 without nozzles.
    pub flow_m3_s: f64,
    /// Linear iterations.
    pub iterations: usize,
    /// True relative residual.
    pub residual_relative: f64,
}

impl SolvedPoint {
    /// Index of the hottest source.
    pub fn hottest(&self) -> Option<usize> {
        (0..self.junctions.len())
            .max_by(|&a, &b| self.junctions[a].max_K.total_cmp(&self.junctions[b].max_K))
    }

    /// The smallest margin to any limit, K, and whose it is; `None` without limits.
    pub fn least_margin_K(&self) -> Option<(f64, usize)> {
        let margins = self.junctions.iter().enumerate();
        margins.filter_map(|(k, j)| Some((j.margin_K()?, k))).min_by(|a, b| a.0.total_cmp(&b.0))
    }

    /// The smallest margin to burn-out, those of the junctions less their uncertainties.
    pub fn sure_chf_margin(&self) -> Option<f64> {
        let of_junctions = self.junctions.iter().filter_map(PointJunction::sure_chf_margin);
        of_junctions.chain(self.least_chf_margin).min_by(f64::total_cmp)
    }

    /// Whether any limit or margin to burn-out is broken, as far as the uncertainties reach.
    pub fn is_broken(&self) -> bool {
        self.junctions.iter().any(PointJunction::is_broken)
            || self.sure_chf_margin().is_some_and(|margin| margin < 1.0)
    }

    /// Everything as plain numbers, NaN where there is none; see [`SolvedPoint::from_numbers`].
    pub fn to_numbers(&self) -> Vec<f64> {
        let or_nan = |value: Option<f64>| value.unwrap_or(f64::NAN);
        let mut numbers = vec![
            or_nan(self.least_chf_margin),
            self.flow_m3_s,
            self.iterations as f64,
            self.residual_relative,
        ];
        for j in &self.junctions {
            numbers.extend([
                j.max_K,
                j.mean_K,
                j.on_mesh_K,
                j.uncertainty_K,
                or_nan(j.limit_K),
                or_nan(j.wetted_share),
                or_nan(j.chf_margin),
                or_nan(j.chf_margin_uncertainty),
            ]);
        }
        numbers
    }

    /// The point of which [`SolvedPoint::to_numbers`] made `numbers`; `None` if it made none of
    /// this length.
    pub fn from_numbers(numbers: &[f64]) -> Option<SolvedPoint> {
        let (&[least, flow_m3_s, iterations, residual_relative], rest) =
            numbers.split_first_chunk::<4>()?;
        let (rows, []) = rest.as_chunks::<8>() else { return None };
        let some = |value: f64| (!value.is_nan()).then_some(value);
        let junctions = rows
            .iter()
            .map(|row| PointJunction {
                max_K: row[0],
                mean_K: row[1],
                on_mesh_K: row[2],
                uncertainty_K: row[3],
                limit_K: some(row[4]),
                wetted_share: some(row[5]),
                chf_margin: some(row[6]),
                chf_margin_uncertainty: some(row[7]),
            })
            .collect();
        let iterations = iterations as usize;
        let least_chf_margin = some(least);
        Some(SolvedPoint { junctions, least_chf_margin, flow_m3_s, iterations, residual_relative })
    }
}
