//! The named sources that expected values come from, one constant each.

/// A published source or a general-purpose library.
#[derive(Debug, PartialEq, Eq)]
pub struct Source {
    /// Short name for the table.
    pub short: &'static str,
    /// Full reference.
    pub full: &'static str,
    /// Whether the printed numbers were seen for this project or are quoted from memory.
    pub from_memory: bool,
}

/// Thermal resistances in series and parallel.
pub const SERIES_RESISTANCES: Source = Source {
    short: "Carslaw & Jaeger 1959, ch. 3",
    full: "H. S. Carslaw, J. C. Jaeger, Conduction of Heat in Solids, 2nd ed., Oxford 1959, \
           sections 3.1 to 3.3 (composite slabs, contact with a medium)",
    from_memory: true,
};

/// Surface of a half space heated over a rectangle.
pub const HALF_SPACE: Source = Source {
    short: "Carslaw & Jaeger 1959, 10.5",
    full: "H. S. Carslaw, J. C. Jaeger, Conduction of Heat in Solids, 2nd ed., Oxford 1959, \
           section 10.5 (rectangular heat source on a half space, steady state)",
    from_memory: true,
};

/// Eccentric sources on a rectangular flux channel.
pub const ECCENTRIC_CHANNEL: Source = Source {
    short: "Muzychka, Culham & Yovanovich 2003",
    full: "Y. S. Muzychka, J. R. Culham, M. M. Yovanovich, Thermal spreading resistance of \
           eccentric heat sources on rectangular flux channels, J. Electronic Packaging 125 (2003) \
           178-185",
    from_memory: true,
};

/// Compound channels.
pub const COMPOUND_CHANNEL: Source = Source {
    short: "Yovanovich, Muzychka & Culham 1999",
    full: "M. M. Yovanovich, Y. S. Muzychka, J. R. Culham, Spreading resistance of isoflux \
           rectangles and strips on compound flux channels, J. Thermophysics and Heat Transfer 13 \
           (1999) 495-500",
    from_memory: true,
};

/// Orthotropic channels by stretched coordinates.
pub const ORTHOTROPIC_CHANNEL: Source = Source {
    short: "Muzychka, Yovanovich & Culham 2004",
    full: "Y. S. Muzychka, M. M. Yovanovich, J. R. Culham, Thermal spreading resistance in \
           compound and orthotropic systems, J. Thermophysics and Heat Transfer 18 (2004) 45-51",
    from_memory: true,
};

/// Dimensionless spreading resistance of a square on a square tube.
pub const SQUARE_TUBE: Source = Source {
    short: "Negus, Yovanovich & Beck 1989",
    full: "K. J. Negus, M. M. Yovanovich, J. V. Beck, On the nondimensionalization of constriction \
           resistance for semi-infinite heat flux tubes, J. Heat Transfer 111 (1989) 804-807",
    from_memory: true,
};

/// Three-dimensional Fourier series for layered packages.
pub const FOURIER_PACKAGE: Source = Source {
    short: "Culham, Yovanovich & Lemczyk 2000",
    full: "J. R. Culham, M. M. Yovanovich, T. F. Lemczyk, Thermal characterization of electronic \
           packages using a three-dimensional Fourier series solution, J. Electronic Packaging 122 \
           (2000) 233-239",
    from_memory: true,
};

/// Poisson's equation on a rectangle.
pub const TORSION: Source = Source {
    short: "Timoshenko & Goodier 1970",
    full: "S. P. Timoshenko, J. N. Goodier, Theory of Elasticity, 3rd ed., McGraw-Hill 1970, \
           section 109, table of constants for torsion of a rectangular bar (the membrane obeys \
           the equation of a plate held at its edges and heated evenly)",
    from_memory: true,
};

/// Reference cases for high-precision conduction programs.
pub const ISO_10211: Source = Source {
    short: "ISO 10211:2017, A.1",
    full: "ISO 10211:2017 (the same table stands in the 2007 edition), Thermal bridges in building \
           construction: detailed calculations, annex on the validation of calculation methods, \
           case 1: half square column, 28 temperatures to 0.1 K",
    from_memory: true,
};

/// Robin eigenfunctions.
pub const ROBIN_SERIES: Source = Source {
    short: "Özışık 1993",
    full: "M. N. Özışık, Heat Conduction, 2nd ed., Wiley 1993, chapter 2 and table 2-2 \
           (eigenfunctions of the finite slab with convection at both faces)",
    from_memory: true,
};

/// The transform that makes k(T) linear.
pub const KIRCHHOFF: Source = Source {
    short: "Carslaw & Jaeger 1959, 2.16",
    full: "H. S. Carslaw, J. C. Jaeger, Conduction of Heat in Solids, 2nd ed., Oxford 1959, \
           section 2.16 (conductivity that varies with temperature)",
    from_memory: true,
};

/// Worked examples.
pub const INCROPERA: Source = Source {
    short: "Incropera & DeWitt, 5th ed.",
    full: "F. P. Incropera, D. P. DeWitt, Fundamentals of Heat and Mass Transfer, 5th ed., Wiley 2002",
    from_memory: true,
};

/// Worked examples.
pub const CENGEL: Source = Source {
    short: "Çengel, 2nd ed.",
    full: "Y. A. Çengel, Heat Transfer: A Practical Approach, 2nd ed., McGraw-Hill 2003",
    from_memory: true,
};

/// Worked examples.
pub const HOLMAN: Source = Source {
    short: "Holman, 10th ed.",
    full: "J. P. Holman, Heat Transfer, 10th ed., McGraw-Hill 2010",
    from_memory: true,
};

/// Worked examples.
pub const LIENHARD: Source = Source {
    short: "Lienhard & Lienhard",
    full: "J. H. Lienhard IV, J. H. Lienhard V, A Heat Transfer Textbook, 5th ed., Dover 2019",
    from_memory: true,
};

/// Finite elements.
pub const SCIKIT_FEM: Source = Source {
    short: "scikit-fem",
    full: "scikit-fem (general-purpose finite elements in Python), quadratic bricks; version in \
           the committed vectors",
    from_memory: false,
};

/// Finite volumes with a sparse direct solver.
pub const SCIPY: Source = Source {
    short: "SciPy",
    full: "SciPy sparse direct solver (SuperLU) on vertex-centred finite volumes; version in the \
           committed vectors",
    from_memory: false,
};

/// Finite volumes.
pub const FIPY: Source = Source {
    short: "FiPy",
    full: "FiPy (general-purpose finite volumes in Python), cell-centred in the plane; version in \
           the committed vectors",
    from_memory: false,
};

/// Sparse Cholesky.
pub const FAER: Source = Source {
    short: "faer",
    full: "faer (linear algebra in Rust), sparse Cholesky factorisation; version in Cargo.lock",
    from_memory: false,
};

/// Counting of cycles.
pub const E1049: Source = Source {
    short: "ASTM E1049-85",
    full: "ASTM E1049-85 (reapproved 2017), Standard Practices for Cycle Counting in Fatigue \
           Analysis, 5.4.4 and figure 6",
    from_memory: false,
};

/// Counting of cycles by a library.
pub const RAINFLOW: Source = Source {
    short: "rainflow 3.2.0",
    full: "rainflow 3.2.0 (PyPI), cycle counts of 100 random histories; \
           validation/reference/rainflow_counts.py",
    from_memory: false,
};

/// Acceleration of solder fatigue.
pub const NORRIS_LANDZBERG: Source = Source {
    short: "Norris & Landzberg 1969",
    full: "K. C. Norris, A. H. Landzberg, Reliability of controlled collapse interconnections, J. \
           Res. Dev. 13 (1969) 266-271; constants and examples as public texts on reliability give \
           them",
    from_memory: true,
};

/// The same law fitted to tests.
pub const YANG: Source = Source {
    short: "Yang 2007, ex. 7.2",
    full: "G. Yang, Life Cycle Reliability Engineering, Wiley 2007, example 7.2, as a public page of \
           worked examples quotes it: ln L = 9.517 - 2.0635 ln dT + 0.3452 ln f + 2006.4 / Tmax",
    from_memory: false,
};

/// Sample sizes of demonstration tests.
pub const DEMONSTRATION_TABLE: Source = Source {
    short: "public table of demonstration tests",
    full: "A public calculator page, example table of one-sided binomial demonstration tests \
           (codingace.net, confidence and reliability sample size)",
    from_memory: false,
};

/// Sample size without failures.
pub const SUCCESS_RUN: Source = Source {
    short: "success-run theorem",
    full: "Success-run theorem, n = ln(1 - C) / ln R, as texts on reliability give it",
    from_memory: true,
};

/// Comparison of prediction and measurement.
pub const V_V_20: Source = Source {
    short: "ASME V&V 20-2009",
    full: "ASME V&V 20-2009, Standard for Verification and Validation in Computational Fluid \
           Dynamics and Heat Transfer, u_val",
    from_memory: true,
};

/// Series of the plane wall.
pub const PLANE_WALL: Source = Source {
    short: "Carslaw & Jaeger 1959, 3.11",
    full: "H. S. Carslaw, J. C. Jaeger, Conduction of Heat in Solids, 2nd ed., Oxford 1959, \
           section 3.11 (slab with radiation into a medium at its surfaces)",
    from_memory: true,
};

/// Half space under a flux.
pub const SEMI_INFINITE: Source = Source {
    short: "Incropera & DeWitt, 5th ed., 5.7",
    full: "F. P. Incropera, D. P. DeWitt, Fundamentals of Heat and Mass Transfer, 5th ed., Wiley 2002, \
           section 5.7 (semi-infinite solid, constant surface heat flux)",
    from_memory: true,
};

/// Lumped capacity.
pub const LUMP: Source = Source {
    short: "Incropera & DeWitt, 5th ed., 5.1",
    full: "F. P. Incropera, D. P. DeWitt, Fundamentals of Heat and Mass Transfer, 5th ed., Wiley 2002, \
           section 5.1 (lumped capacitance)",
    from_memory: true,
};

/// Modes of a plate.
pub const PERIODIC_MODES: Source = Source {
    short: "Carslaw & Jaeger 1959, 4.2",
    full: "H. S. Carslaw, J. C. Jaeger, Conduction of Heat in Solids, 2nd ed., Oxford 1959, sections \
           4.2 and 15.5 (rod that loses heat along its length; periodic states)",
    from_memory: true,
};

/// The scheme of steps in time.
pub const TR_BDF2: Source = Source {
    short: "Bank et al. 1985",
    full: "R. E. Bank, W. M. Coughran, W. Fichtner, E. H. Grosse, D. J. Rose, R. K. Smith, Transient \
           simulation of silicon devices and circuits, IEEE Trans. Electron Devices 32 (1985) 1992-2007",
    from_memory: true,
};

/// Conservation of energy.
pub const FIRST_LAW: Source = Source {
    short: "Incropera & DeWitt, 5th ed., 1.3",
    full: "F. P. Incropera, D. P. DeWitt, Fundamentals of Heat and Mass Transfer, 5th ed., Wiley 2002, \
           section 1.3 (conservation of energy)",
    from_memory: true,
};
