//! Small numerics: Gauss-Legendre rules on the unit interval; interpolation from their nodes and on even grids; bisection.
//!
//! Sources: Gauss-Legendre nodes by Newton's iteration on the Legendre recurrence (Abramowitz & Stegun, Handbook of
//! Mathematical Functions, 25.4.29 and 22.7.10); barycentric Lagrange interpolation (Berrut & Trefethen, Barycentric
//! Lagrange Interpolation, SIAM Review 46, 2004, eq. 4.2). From memory; the tests check both.

/// Nodes and weights of a quadrature rule on (0, 1); the weights sum to 1.
#[derive(Clone, Debug)]
pub struct Rule {
    /// Nodes, rising.
    pub nodes: Vec<f64>,
    /// Weights.
    pub weights: Vec<f64>,
}

/// The `n`-point Gauss-Legendre rule on (0, 1), exact for polynomials of degree `2 n - 1`.
#[must_use]
pub fn gauss_legendre(n: usize) -> Rule {
    let mut nodes = vec![0.0; n];
    let mut weights = vec![0.0; n];
    for i in 0..n.div_ceil(2) {
        // The usual asymptotic first guess; Newton's iteration then converges in a few steps.
        let mut x = (std::f64::consts::PI * (i as f64 + 0.75) / (n as f64 + 0.5)).cos();
        let mut slope = 1.0;
        for _ in 0..100 {
            let (mut p0, mut p1) = (1.0, x);
            for l in 2..=n {
                let l = l as f64;
                (p0, p1) = (p1, ((2.0 * l - 1.0) * x * p1 - (l - 1.0) * p0) / l);
            }
            if n == 1 {
                (p0, p1) = (1.0, x);
            }
            slope = n as f64 * (x * p1 - p0) / (x * x - 1.0);
            let step = p1 / slope;
            x -= step;
            if step.abs() < 1e-15 {
                break;
            }
        }
        let weight = 1.0 / ((1.0 - x * x) * slope * slope);
        nodes[i] = 0.5 * (1.0 - x);
        nodes[n - 1 - i] = 0.5 * (1.0 + x);
        weights[i] = weight;
        weights[n - 1 - i] = weight;
    }
    Rule { nodes, weights }
}

/// Lagrange interpolation from fixed nodes to any place, in barycentric form.
#[derive(Clone, Debug)]
pub struct Interpolation {
    nodes: Vec<f64>,
    barycentric: Vec<f64>,
}

impl Interpolation {
    /// Prepares the interpolation from these distinct nodes.
    #[must_use]
    pub fn from_nodes(nodes: &[f64]) -> Interpolation {
        // The factor 4 keeps the products near 1 for nodes on the unit interval (its capacity is 1/4).
        let barycentric = nodes
            .iter()
            .enumerate()
            .map(|(j, &xj)| {
                let product: f64 = nodes
                    .iter()
                    .enumerate()
                    .filter(|&(m, _)| m != j)
                    .map(|(_, &xm)| 4.0 * (xj - xm))
                    .product();
                1.0 / product
            })
            .collect();
        Interpolation { nodes: nodes.to_vec(), barycentric }
    }

    /// Value at `x` of the polynomial that takes these values at the nodes.
    #[must_use]
    pub fn value(&self, values: &[f64], x: f64) -> f64 {
        let (mut above, mut below) = (0.0, 0.0);
        for ((node, weight), value) in self.nodes.iter().zip(&self.barycentric).zip(values) {
            let apart = x - node;
            if apart == 0.0 {
                return *value;
            }
            let share = weight / apart;
            above += share * value;
            below += share;
        }
        above / below
    }

    /// Values at `x` of the Lagrange basis polynomials, one per node.
    #[must_use]
    pub fn basis(&self, x: f64) -> Vec<f64> {
        if let Some(hit) = self.nodes.iter().position(|&n| n == x) {
            return (0..self.nodes.len()).map(|j| if j == hit { 1.0 } else { 0.0 }).collect();
        }
        let terms: Vec<f64> = self.nodes.iter().zip(&self.barycentric).map(|(n, w)| w / (x - n)).collect();
        let sum: f64 = terms.iter().sum();
        terms.into_iter().map(|t| t / sum).collect()
    }
}

/// Points of [`lagrange`].
pub(crate) const POINTS: usize = 6;

/// First index and weights of the six-point Lagrange interpolation at `x` on the grid 0, 1, …, n - 1.
#[inline]
pub(crate) fn lagrange(x: f64, n: usize) -> (usize, [f64; POINTS]) {
    let start = (x as isize - 2).clamp(0, (n - POINTS) as isize) as usize;
    let d = x - start as f64;
    let (d0, d1, d2, d3, d4, d5) = (d, d - 1.0, d - 2.0, d - 3.0, d - 4.0, d - 5.0);
    let (left, right) = (d0 * d1 * d2, d3 * d4 * d5);
    let weights = [
        -d1 * d2 * right / 120.0,
        d0 * d2 * right / 24.0,
        -d0 * d1 * right / 12.0,
        left * d4 * d5 / 12.0,
        -left * d3 * d5 / 24.0,
        left * d3 * d4 / 120.0,
    ];
    (start, weights)
}

/// Zero of a function that rises through it between two points, to the last bit that 60 halvings give.
pub(crate) fn bisect(mut low: f64, mut high: f64, f: impl Fn(f64) -> f64) -> f64 {
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if f(middle) < 0.0 {
            low = middle;
        } else {
            high = middle;
        }
    }
    0.5 * (low + high)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Rounding of a sum of a few dozen terms of order one.
    const ROUNDING: f64 = 1e-13;

    #[test]
    fn rule_integrates_the_highest_power_it_promises() {
        for n in [1, 2, 3, 8, 16, 24, 48] {
            let rule = gauss_legendre(n);
            let degree = (2 * n - 1) as i32;
            let sum: f64 = rule.nodes.iter().zip(&rule.weights).map(|(x, w)| w * x.powi(degree)).sum();
            assert!((sum - 1.0 / f64::from(degree + 1)).abs() < ROUNDING, "n = {n}: {sum}");
        }
    }

    #[test]
    fn five_point_rule_has_the_handbook_values() {
        // Abramowitz & Stegun table 25.4, n = 5 (from memory): 0.906179845938664 with weight 0.236926885056189.
        let rule = gauss_legendre(5);
        assert!((2.0 * rule.nodes[4] - 1.0 - 0.906_179_845_938_664).abs() < 1e-14);
        assert!((2.0 * rule.weights[4] - 0.236_926_885_056_189).abs() < 1e-14);
    }

    #[test]
    fn interpolation_reproduces_a_polynomial() {
        let rule = gauss_legendre(16);
        let interpolation = Interpolation::from_nodes(&rule.nodes);
        let f = |x: f64| 1.0 - 3.0 * x + x.powi(15);
        for x in [0.0, 0.123, 0.5, 0.99, 1.0] {
            let value: f64 =
                interpolation.basis(x).iter().zip(&rule.nodes).map(|(l, &node)| l * f(node)).sum();
            assert!((value - f(x)).abs() < 1e-11, "{x}: {value}");
            let values: Vec<f64> = rule.nodes.iter().map(|&node| f(node)).collect();
            assert!((interpolation.value(&values, x) - f(x)).abs() < 1e-11, "{x}");
        }
    }
}
