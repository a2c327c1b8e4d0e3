//! tmp
use weftlight::light::spread::*;
use weftlight::light::transport::*;
use weftlight::light::*;
use weftlight::quantity::*;
#[test]
fn tmp() {
    let dir = "/work/shared/reference/photons/";
    let cases = std::fs::read_to_string(format!("{dir}cases.csv")).unwrap();
    let mut stacks: Vec<(String, Stack, f64, f64, f64)> = vec![];
    for line in cases.lines().skip(1) {
        let f: Vec<&str> = line.split(',').collect();
        let v: Vec<f64> = f[1..].iter().map(|x| x.parse().unwrap()).collect();
        if stacks.last().map(|s| s.0.as_str()) != Some(f[0]) {
            stacks.push((f[0].into(), Stack { board_reflectance: v[7 - 0 - 0], layers: vec![] }, v[8], v[9], v[10]));
            stacks.last_mut().unwrap().1.board_reflectance = v[7];
        }
        let s = &mut stacks.last_mut().unwrap().1;
        let h = s.height().0;
        s.layers.push(Layer { gap_below: Millimetres(v[1] - h), thickness: Millimetres(v[2]), optics: Optics { extinction: PerMillimetre(v[3]), albedo: v[4], asymmetry: v[5], openness: v[6] } });
    }
    for (name, stack, m, direct, scattered) in &stacks {
        let start = std::time::Instant::now();
        let reduced = Stack { board_reflectance: stack.board_reflectance, layers: stack.layers.iter().map(|l| Layer { optics: l.optics.reduced(), ..*l }).collect() };
        let t = Transport::new(&reduced, *m, SourceKernel::of_beam(*m));
        let knots = frequency_knots(stack.layers[0].gap_below.0, stack.height().0);
        let n = knots.len();
        let values: Vec<f64> = knots.iter().map(|&k| t.solve(k).radiance).collect();
        let spot = SpotSpectrum::with_decay(knots, &values, stack.layers[0].gap_below.0);
        let dt = start.elapsed();
        let text = std::fs::read_to_string(format!("{dir}{name}.csv")).unwrap();
        let rows: Vec<Vec<f64>> = text.lines().skip(1).map(|l| l.split(',').map(|x| x.parse().unwrap()).collect()).collect();
        let rings: Vec<[f64; 2]> = rows.iter().map(|r| [r[0], r[1]]).collect();
        let got = spot.over_rings(Window::Point, &rings);
        let peak = rows.iter().map(|r| r[2]).fold(0.0, f64::max);
        let (mut worst, mut rms) = (0.0f64, 0.0);
        for (g, r) in got.iter().zip(&rows) { worst = worst.max((g - r[2]).abs() / peak); rms += ((g - r[2]) / peak).powi(2); }
        let s0 = t.solve(0.0);
        println!("{name:18} n {n} {:6.1} ms worst {:.4} rms {:.5} noise {:.4} | direct {:.6} {:.6} scattered {:.6} {:.6} knotmax ratio {:.1e}", dt.as_secs_f64()*1e3, worst, (rms / rows.len() as f64).sqrt(), rows[0][3] / peak, direct_share(stack, *m), direct, s0.exitance + direct_share(&reduced, *m) - direct_share(stack, *m), scattered, values[n-1]/values[0]);
    }
}
