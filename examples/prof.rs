use weftlight::light::spots::spots;
use weftlight::light::*;
use weftlight::quantity::*;
fn layer(gap: f64, thickness: f64, tau: f64, albedo: f64, openness: f64) -> Layer {
    Layer {
        gap_below: Millimetres(gap),
        thickness: Millimetres(thickness),
        optics: Optics { extinction: PerMillimetre(tau / thickness), albedo, asymmetry: 0.72, openness },
    }
}
fn main() {
    for layers in [1, 3] {
        for w in [1usize, 15] {
            let st: Vec<Stack> = (0..w)
                .map(|i| {
                    let albedo = 0.90 + 0.099 * (i as f64 / 14.0);
                    let all = [
                        layer(6.0, 3.0, 12.0, albedo, 0.0),
                        layer(2.0, 0.6, 3.0, albedo - 0.01, 0.1),
                        layer(1.0, 0.15, 1.0, albedo, 0.4),
                    ];
                    Stack { board_reflectance: 0.5, layers: all[..layers].to_vec() }
                })
                .collect();
            spots(&st, 1.0);
            let t = std::time::Instant::now();
            for _ in 0..3 {
                spots(&st, 1.0);
            }
            println!("{layers} layers {w} stacks: {:.1} ms", t.elapsed().as_secs_f64() * 1e3 / 3.0);
        }
    }
}
