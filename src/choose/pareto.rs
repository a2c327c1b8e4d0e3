//! The best trade-offs: what nothing else beats in every respect (Pareto set).
//!
//! # Source
//! The dominance relation is the textbook one: a beats b when it is nowhere worse and somewhere better.

/// Indices of the entries that no other entry beats, in their order. Each entry is a list of costs, the less the better; entries with
/// equal costs stay side by side. What is not a number is worse than any number.
#[must_use]
pub fn unbeaten(costs: &[Vec<f64>]) -> Vec<usize> {
    (0..costs.len()).filter(|&i| !costs.iter().any(|other| beats(other, &costs[i]))).collect()
}

fn beats(a: &[f64], b: &[f64]) -> bool {
    let order = || a.iter().zip(b).map(|(a, b)| order(*a, *b));
    order().all(std::cmp::Ordering::is_le) && order().any(std::cmp::Ordering::is_lt)
}

fn order(a: f64, b: f64) -> std::cmp::Ordering {
    a.partial_cmp(&b).unwrap_or_else(|| a.is_nan().cmp(&b.is_nan()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_worked_example() {
        // Thickness and darkness: the third is beaten by the second, the fourth equals the first.
        let costs = [vec![5.0, 2.0], vec![8.0, 1.0], vec![9.0, 1.0], vec![5.0, 2.0], vec![4.0, f64::NAN]];
        assert_eq!(unbeaten(&costs), [0, 1, 3, 4]);
        assert!(unbeaten(&[]).is_empty());
    }

    proptest! {
        #[test]
        fn every_entry_is_unbeaten_or_beaten_by_an_unbeaten_one(
            costs in proptest::collection::vec(proptest::collection::vec(0..4_u8, 3), 1..30),
        ) {
            let costs: Vec<Vec<f64>> = costs.into_iter().map(|c| c.into_iter().map(f64::from).collect()).collect();
            let best = unbeaten(&costs);
            prop_assert!(!best.is_empty());
            for (i, cost) in costs.iter().enumerate() {
                let covered = best.iter().any(|&b| costs[b].iter().zip(cost).all(|(a, b)| a <= b));
                prop_assert!(covered, "{i}");
                // Against the sum: the entry with the least sum of costs is never beaten.
                let least = costs.iter().map(|c| c.iter().sum::<f64>()).fold(f64::INFINITY, f64::min);
                if cost.iter().sum::<f64>() == least {
                    prop_assert!(best.contains(&i));
                }
            }
        }
    }
}
