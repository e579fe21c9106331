//! Published key profiles: how well each degree of the chromatic scale belongs to a major and to a
//! minor key. All tables in one place; the figures agree with music21's own tables
//! (`fixtures` are compared by the tests).

/// A profile for major and one for minor keys, degree 0 being the tonic.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Profile {
    /// Who published it.
    pub name: &'static str,
    /// Values for a major key, in semitones above the tonic.
    pub major: [f32; 12],
    /// Values for a minor key.
    pub minor: [f32; 12],
}

/// Probe-tone ratings. C. L. Krumhansl and E. J. Kessler, "Tracing the dynamic changes in perceived
/// tonal organization in a spatial representation of musical keys", Psychological Review 89 (1982).
pub const KRUMHANSL_KESSLER: Profile = Profile {
    name: "Krumhansl-Kessler 1982",
    major: [6.35, 2.23, 3.48, 2.33, 4.38, 4.09, 2.52, 5.19, 2.39, 3.66, 2.29, 2.88],
    minor: [6.33, 2.68, 3.52, 5.38, 2.60, 3.53, 2.54, 4.75, 3.98, 2.69, 3.34, 3.17],
};

/// Counted in the examples of Kostka and Payne's harmony book. D. Temperley, Music and Probability
/// (2007).
pub const TEMPERLEY_KOSTKA_PAYNE: Profile = Profile {
    name: "Temperley 2007",
    major: [0.748, 0.060, 0.488, 0.082, 0.670, 0.460, 0.096, 0.715, 0.104, 0.366, 0.057, 0.400],
    minor: [0.712, 0.084, 0.474, 0.618, 0.049, 0.460, 0.105, 0.747, 0.404, 0.067, 0.133, 0.330],
};

/// Counted in European folk songs. B. Aarden, Dynamic Melodic Expectancy (2003).
pub const AARDEN: Profile = Profile {
    name: "Aarden 2003",
    major: [
        17.7661, 0.145624, 14.9265, 0.160186, 19.8049, 11.3587, 0.291248, 22.062, 0.145624,
        8.15494, 0.232998, 4.95122,
    ],
    minor: [
        18.2648, 0.737619, 14.0499, 16.8599, 0.702494, 14.4362, 0.702494, 18.6161, 4.56621,
        1.93186, 7.37619, 1.75623,
    ],
};

/// H. Budge's chord counts as pitch classes. H. Bellman, "About the determination of key of a musical
/// excerpt" (2005).
pub const BELLMAN_BUDGE: Profile = Profile {
    name: "Bellman-Budge 2005",
    major: [16.80, 0.86, 12.95, 1.41, 13.49, 11.93, 1.25, 20.28, 1.80, 8.04, 0.62, 10.57],
    minor: [18.16, 0.69, 12.99, 13.34, 1.07, 11.15, 1.38, 21.07, 7.49, 1.53, 0.92, 10.21],
};

/// All of them.
pub const PROFILES: [Profile; 4] =
    [KRUMHANSL_KESSLER, TEMPERLEY_KOSTKA_PAYNE, AARDEN, BELLMAN_BUDGE];

impl Profile {
    /// Pearson's correlation of weights by pitch class (C = 0) with this profile on every tonic:
    /// one row for major keys, one for minor keys; all zero where the weights don't differ.
    pub fn correlations(&self, weights: &[f32; 12]) -> [[f32; 12]; 2] {
        let (w, w_norm) = centred(weights);
        let mut out = [[0.0; 12]; 2];
        for (row, values) in out.iter_mut().zip([&self.major, &self.minor]) {
            let (p, p_norm) = centred(values);
            let norm = w_norm * p_norm;
            if norm <= 0.0 {
                continue;
            }
            for (tonic, cell) in row.iter_mut().enumerate() {
                let dot: f32 = (0..12).map(|d| p[d] * w[(tonic + d) % 12]).sum();
                *cell = dot / norm;
            }
        }
        out
    }
}

fn centred(values: &[f32; 12]) -> ([f32; 12], f32) {
    let mean = values.iter().sum::<f32>() / 12.0;
    let centred = values.map(|v| v - mean);
    let norm = centred.iter().map(|v| v * v).sum::<f32>().sqrt();
    (centred, norm)
}
