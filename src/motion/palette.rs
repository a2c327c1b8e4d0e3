//! Few colours for a picture of many: a GIF's palette.
//!
//! Model: the picture's colours are cut in two again and again, each time those whose spread is worst, across the axis along which they
//! spread most, at their mean; each part becomes the mean of its colours. Spread is the variance of the codes, green counted more and
//! blue less than red, as the eye does, times the root of the number of image pixels, so that small bright places keep their steps.
//!
//! Every colour counts as it is. Methods that count colours in bins of a coarse grid leave a glow of one hue with a few dozen colours,
//! and bands show.
//!
//! Source: the cut at the mean across the axis of greatest variance after Wan, Wong & Prusinkiewicz, An algorithm for multidimensional
//! data clustering (1988), from memory; the weights by trial on glows of this program.

/// Colours of a GIF's palette at most.
pub const MOST_COLOURS: usize = 256;
/// How much a step of red, green and blue counts.
const WEIGHTS: [f64; 3] = [1.0, 1.5, 0.7];

/// A part of the colours: a stretch of the order, and where it is to be cut.
struct Part {
    range: std::ops::Range<usize>,
    score: f64,
    axis: usize,
    mean: [f64; 3],
}

fn code(packed: u32, axis: usize) -> f64 {
    f64::from(packed.to_be_bytes()[axis + 1])
}

fn part(colours: &[(u32, usize)], order: &[usize], range: std::ops::Range<usize>) -> Part {
    let (mut count, mut sums, mut squares) = (0.0, [0.0; 3], [0.0; 3]);
    for (packed, pixels) in order[range.clone()].iter().map(|&i| colours[i]) {
        let pixels = pixels as f64;
        count += pixels;
        for axis in 0..3 {
            let value = code(packed, axis);
            sums[axis] += pixels * value;
            squares[axis] += pixels * value * value;
        }
    }
    let mean = sums.map(|sum| sum / count);
    let spread: [f64; 3] =
        std::array::from_fn(|c| (squares[c] / count - mean[c] * mean[c]).max(0.0) * WEIGHTS[c] * WEIGHTS[c]);
    let axis = (0..3).max_by(|&a, &b| spread[a].total_cmp(&spread[b])).unwrap_or(0);
    let score = if range.len() > 1 { spread.iter().sum::<f64>() * count.sqrt() } else { 0.0 };
    Part { range, score, axis, mean }
}

/// A palette of at most [`MOST_COLOURS`] for a picture of R, G, B, and each image pixel's place in it. Exact for pictures of no more
/// colours than that.
#[must_use]
pub fn palette(rgb: &[u8]) -> (Vec<[u8; 3]>, Vec<u8>) {
    let packed: Vec<u32> = rgb.chunks_exact(3).map(|c| u32::from_be_bytes([0, c[0], c[1], c[2]])).collect();
    let mut sorted = packed.clone();
    sorted.sort_unstable();
    let colours: Vec<(u32, usize)> =
        sorted.chunk_by(|a, b| a == b).map(|same| (same[0], same.len())).collect();
    if colours.is_empty() {
        return (Vec::new(), Vec::new());
    }
    let mut order: Vec<usize> = (0..colours.len()).collect();
    let mut parts = vec![part(&colours, &order, 0..colours.len())];
    while parts.len() < MOST_COLOURS.min(colours.len()) {
        let worst = (0..parts.len()).max_by(|&a, &b| parts[a].score.total_cmp(&parts[b].score)).unwrap_or(0);
        let Part { range, score, axis, mean } = &mut parts[worst];
        if *score <= 0.0 {
            break;
        }
        let (below, above): (Vec<usize>, Vec<usize>) =
            order[range.clone()].iter().partition(|&&i| code(colours[i].0, *axis) <= mean[*axis]);
        if below.is_empty() || above.is_empty() {
            *score = 0.0;
            continue;
        }
        let (start, middle, end) = (range.start, range.start + below.len(), range.end);
        order[start..middle].copy_from_slice(&below);
        order[middle..end].copy_from_slice(&above);
        parts[worst] = part(&colours, &order, start..middle);
        parts.push(part(&colours, &order, middle..end));
    }
    let mut place = vec![0_u8; colours.len()];
    for (index, part) in parts.iter().enumerate() {
        order[part.range.clone()].iter().for_each(|&i| place[i] = index as u8);
    }
    let indices = packed
        .iter()
        .map(|packed| colours.binary_search_by_key(packed, |(known, _)| *known).map_or(0, |i| place[i]))
        .collect();
    (parts.iter().map(|part| part.mean.map(|v| v.round() as u8)).collect(), indices)
}
