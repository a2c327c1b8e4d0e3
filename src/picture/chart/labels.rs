//! Finding room for labels.

use super::svg;

/// Left, top, width and height.
pub(super) type Rect = [f64; 4];

/// Cost of each SVG pixel that a label sticks out of its area: worse than lying on anything.
const OUTSIDE: f64 = 1000.0;
/// Cost of each square pixel shared with another label or marker.
const SHARED: f64 = 1.0;
/// Cost of each sample of a curve below the label.
const CURVE: f64 = 25.0;
/// Cost of each step down the list of candidates: the first good one wins.
const LATER: f64 = 2.0;
/// Curves are sampled this finely, in SVG pixels.
const SAMPLE_PX: f64 = 5.0;
/// The thin line to a label may cross what lies this near its point: the point's own marker.
const NEAR_PX: f64 = 14.0;

/// Moves things along a line as little as can be (least squares) so that none overlaps the next and all lie between `low`
/// and `high`. Takes wanted middles and lengths; gives middles, in the order given.
///
/// Isotonic regression by pooling adjacent violators (R. E. Barlow, D. J. Bartholomew, J. M. Bremner, H. D. Brunk, Statistical
/// Inference under Order Restrictions, 1972, from memory), after the lengths have been taken out.
pub(super) fn spread(wanted: &[f64], lengths: &[f64], low: f64, high: f64) -> Vec<f64> {
    let mut order: Vec<usize> = (0..wanted.len().min(lengths.len())).collect();
    order.sort_by(|a, b| wanted[*a].total_cmp(&wanted[*b]));
    // The place of each middle when all things lie end to end from 0.
    let mut end = 0.0;
    let packed: Vec<f64> = order
        .iter()
        .map(|i| {
            end += lengths[*i];
            end - 0.5 * lengths[*i]
        })
        .collect();
    // Pools of things that touch: sum of free places, and how many.
    let mut pools: Vec<(f64, usize)> = Vec::new();
    for (i, base) in order.iter().zip(&packed) {
        let mut pool = (wanted[*i] - base, 1);
        while let Some((sum, count)) = pools.last().copied()
            && sum * pool.1 as f64 > pool.0 * count as f64
        {
            pool = (pool.0 + sum, pool.1 + count);
            pools.pop();
        }
        pools.push(pool);
    }
    let free = pools.iter().flat_map(|(sum, count)| std::iter::repeat_n(sum / *count as f64, *count));
    let mut middles = vec![0.0; wanted.len()];
    for ((i, base), free) in order.iter().zip(&packed).zip(free) {
        middles[*i] = free.min(high - end).max(low) + base;
    }
    middles
}

/// What labels have to keep clear of.
#[derive(Clone, Debug)]
pub(super) struct Placer {
    area: Rect,
    boxes: Vec<Rect>,
    curve: Vec<(f64, f64)>,
}

impl Placer {
    /// Labels within a rectangle.
    pub(super) fn within(area: Rect) -> Placer {
        Placer { area, boxes: Vec::new(), curve: Vec::new() }
    }

    /// Keep clear of a rectangle.
    pub(super) fn avoid(&mut self, rect: Rect) {
        self.boxes.push(rect);
    }

    /// Keep clear of a line through points.
    pub(super) fn avoid_line(&mut self, points: &[(f64, f64)]) {
        for pair in points.windows(2) {
            let ((x0, y0), (x1, y1)) = (pair[0], pair[1]);
            let count = ((x1 - x0).hypot(y1 - y0) / SAMPLE_PX).ceil().clamp(1.0, 400.0) as usize;
            self.curve.extend((0..count).map(|i| {
                let t = (i as f64 + 0.5) / count as f64;
                (x0 + t * (x1 - x0), y0 + t * (y1 - y0))
            }));
        }
    }

    fn cost(&self, rect: Rect) -> f64 {
        let [x, y, w, h] = rect;
        let [ax, ay, aw, ah] = self.area;
        let out =
            (ax - x).max(0.0) + (ay - y).max(0.0) + (x + w - ax - aw).max(0.0) + (y + h - ay - ah).max(0.0);
        let shared: f64 = self.boxes.iter().map(|other| overlap(rect, *other)).sum();
        let inside = |p: &&(f64, f64)| holds(rect, **p);
        OUTSIDE * out + SHARED * shared + CURVE * self.curve.iter().filter(inside).count() as f64
    }

    /// Samples of the thin line from a point to a rectangle, without its beginning.
    fn tie(from: (f64, f64), rect: Rect) -> impl Iterator<Item = (f64, f64)> {
        let to = nearest(from, rect);
        let (dx, dy) = (to.0 - from.0, to.1 - from.1);
        let length = dx.hypot(dy);
        let count = ((length - NEAR_PX) / SAMPLE_PX).floor().clamp(0.0, 200.0) as usize;
        (0..count).map(move |i| {
            let t = (NEAR_PX + SAMPLE_PX * i as f64) / length;
            (from.0 + t * dx, from.1 + t * dy)
        })
    }

    /// As [`Placer::place`], for a label that a thin line ties to a point: the line keeps clear of labels and markers too.
    pub(super) fn place_tied(
        &mut self,
        from: (f64, f64),
        candidates: impl IntoIterator<Item = Rect>,
    ) -> Option<Rect> {
        let hit = |p: &(f64, f64)| self.boxes.iter().any(|rect| holds(*rect, *p));
        let cost = |(i, rect): (usize, Rect)| {
            let crossed = Self::tie(from, rect).filter(hit).count() as f64;
            (self.cost(rect) + CURVE * crossed + LATER * i as f64, rect)
        };
        let best = candidates.into_iter().enumerate().map(cost).min_by(|a, b| a.0.total_cmp(&b.0))?.1;
        self.boxes.push(best);
        self.curve.extend(Self::tie(from, best));
        Some(best)
    }

    /// The best of some rectangles, earlier ones preferred; it is kept clear of from now on.
    pub(super) fn place(&mut self, candidates: impl IntoIterator<Item = Rect>) -> Option<Rect> {
        let cost = |(i, rect): (usize, Rect)| (self.cost(rect) + LATER * i as f64, rect);
        let best = candidates.into_iter().enumerate().map(cost).min_by(|a, b| a.0.total_cmp(&b.0))?.1;
        self.boxes.push(best);
        Some(best)
    }
}

fn holds([x, y, w, h]: Rect, (px, py): (f64, f64)) -> bool {
    (x..=x + w).contains(&px) && (y..=y + h).contains(&py)
}

/// The place in a rectangle nearest to a point.
pub(super) fn nearest((px, py): (f64, f64), [x, y, w, h]: Rect) -> (f64, f64) {
    (px.clamp(x, x + w), py.clamp(y, y + h))
}

/// Area two rectangles share.
pub(super) fn overlap([ax, ay, aw, ah]: Rect, [bx, by, bw, bh]: Rect) -> f64 {
    let w = (ax + aw).min(bx + bw) - ax.max(bx);
    let h = (ay + ah).min(by + bh) - ay.max(by);
    if w > 0.0 && h > 0.0 { w * h } else { 0.0 }
}

/// A label of some lines, and how large it is.
#[derive(Clone, Debug)]
pub(super) struct Label {
    pub(super) lines: Vec<String>,
    pub(super) width: f64,
    pub(super) height: f64,
}

/// Distance from baseline to baseline over size.
pub(super) const LEADING: f64 = 1.25;

/// A text broken into lines of at most `most` SVG pixels.
pub(super) fn lines(text: &str, size: f64, most: f64) -> Vec<String> {
    crate::picture::canvas::wrapped(text, svg::line_height(size), most as f32)
}

impl Label {
    /// A text broken to a width.
    pub(super) fn new(text: &str, size: f64, most: f64) -> Label {
        let lines = lines(text, size, most);
        let width = lines.iter().map(|l| svg::width(l, size)).fold(0.0, f64::max);
        let height = LEADING * size * lines.len() as f64;
        Label { lines, width, height }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn spreading_keeps_order_room_and_bounds_and_moves_little() {
        let close = |a: &[f64], b: &[f64]| a.iter().zip(b).all(|(a, b)| (a - b).abs() < 1e-9);
        assert!(close(&spread(&[10.0, 50.0], &[20.0; 2], 0.0, 100.0), &[10.0, 50.0]));
        assert!(close(&spread(&[50.0, 50.0], &[20.0; 2], 0.0, 100.0), &[40.0, 60.0]));
        assert!(close(&spread(&[50.0, 50.0, 50.0], &[20.0; 3], 0.0, 100.0), &[30.0, 50.0, 70.0]));
        assert!(close(&spread(&[0.0, 100.0], &[20.0; 2], 0.0, 100.0), &[10.0, 90.0]));
        assert!(close(&spread(&[60.0, 40.0], &[10.0; 2], 0.0, 100.0), &[60.0, 40.0]));
        assert!(close(&spread(&[0.0, 0.0], &[10.0, 30.0], 0.0, 100.0), &[5.0, 25.0]));
        assert!(spread(&[], &[], 0.0, 1.0).is_empty());
        // Least squares: two pools of two, brute force over a fine grid of the pools' places finds nothing better.
        let wanted = [10.0, 12.0, 50.0, 51.0];
        let got = spread(&wanted, &[10.0; 4], 0.0, 100.0);
        assert!(close(&got, &[6.0, 16.0, 45.5, 55.5]), "{got:?}");
    }

    #[test]
    fn no_room_at_all_still_gives_places() {
        let got = spread(&[5.0, 5.0, 5.0], &[50.0; 3], 0.0, 60.0);
        assert_eq!(got, [25.0, 75.0, 125.0]);
        assert!(spread(&[f64::NAN, 1.0], &[1.0; 2], 0.0, 9.0).len() == 2);
    }

    #[test]
    fn the_line_to_a_label_crosses_no_other_label() {
        let mut placer = Placer::within([0.0, 0.0, 200.0, 200.0]);
        placer.avoid([80.0, 60.0, 40.0, 20.0]);
        // Straight up lies beyond the label; to the right nothing is in the way.
        let candidates = [[80.0, 20.0, 40.0, 10.0], [150.0, 95.0, 40.0, 10.0]];
        assert_eq!(placer.clone().place(candidates), Some(candidates[0]));
        assert_eq!(placer.place_tied((100.0, 100.0), candidates), Some(candidates[1]));
        // The line itself is kept clear of from then on.
        let candidates = [[125.0, 95.0, 15.0, 10.0], [20.0, 150.0, 15.0, 10.0]];
        assert_eq!(placer.place(candidates), Some(candidates[1]));
    }

    #[test]
    fn a_label_goes_where_nothing_is() {
        let mut placer = Placer::within([0.0, 0.0, 100.0, 100.0]);
        placer.avoid([50.0, 0.0, 50.0, 50.0]);
        placer.avoid_line(&[(0.0, 75.0), (49.0, 75.0)]);
        let candidates = [
            [60.0, 10.0, 20.0, 10.0],
            [90.0, 70.0, 20.0, 10.0],
            [10.0, 70.0, 20.0, 10.0],
            [60.0, 70.0, 20.0, 10.0],
        ];
        assert_eq!(placer.place(candidates), Some(candidates[3]));
        assert_ne!(placer.place(candidates), Some(candidates[3]), "taken now");
        assert_eq!(placer.place([]), None);
    }
}
