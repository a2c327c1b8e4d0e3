mod common;
use std::time::Instant;
use weftlight::light::photons::spread;
#[test]
fn explore() {
    for case in common::photons::cases() {
        let t = Instant::now();
        let n = std::env::var("N").map_or(1_000_000, |s| s.parse().unwrap());
        let found = spread(&case.stack, &case.source, &case.ring_edges(), n, 1);
        let dt = t.elapsed().as_secs_f64();
        let z: Vec<f64> = found
            .rings
            .iter()
            .zip(&case.rings)
            .map(|(f, r)| (f.radiance.value - r.radiance) / f.radiance.standard_error.hypot(r.standard_error))
            .collect();
        let fom: f64 =
            found.rings.iter().map(|f| (f.radiance.standard_error / f.radiance.value).powi(2)).sum::<f64>()
                / z.len() as f64
                * dt;
        let chi = z.iter().map(|z| z * z).sum::<f64>() / z.len() as f64;
        let mean = z.iter().sum::<f64>() / z.len() as f64;
        let worst = z.iter().fold(0f64, |a, z| a.max(z.abs()));
        let zs = (found.scattered_share.value - case.scattered_share) / found.scattered_share.standard_error;
        println!(
            "{:20} {:.2}s chi2 {:.3} mean {:+.3} worst {:.2} rel {:.4} fom {:.2e} direct {:.6} {:.6} se {:.1e} scat {:.6} {:.6} z {:.2} se {:.1e} acc {:.6} {:.1e}",
            case.name,
            dt,
            chi,
            mean,
            worst,
            found.rings[5].radiance.standard_error / found.rings[5].radiance.value,
            fom,
            found.direct_share.value,
            case.direct_share,
            found.direct_share.standard_error,
            found.scattered_share.value,
            case.scattered_share,
            zs,
            found.scattered_share.standard_error,
            found.accounted.value,
            found.accounted.standard_error
        );
    }
}
