//! Whether another scan shows a place, and where.

use super::layer::Layer;
use crate::primitive::{Point3, Vec3};

/// Where another scan shows a place.
#[derive(Debug, Clone, Copy)]
pub(super) struct Hit {
    /// Its triangle, or point.
    pub(super) element: u32,
    /// The place on it, its own coordinates.
    pub(super) at: Point3,
}

/// The place of a scan that lies at `p` (its own coordinates), within `reach`, facing as `normal` does;
/// `None` if it is off its border, too far or faces elsewhere.
pub(super) fn hit(layer: &Layer<'_>, p: &Point3, normal: &Vec3, reach: f64) -> Option<Hit> {
    if (layer.low - p).sup(&(p - layer.high)).max() > reach {
        return None;
    }
    let (nearest, distance) = layer.scan.nearest(p);
    let spacing = f64::from(*layer.spacing.get(nearest as usize)?);
    if distance > reach + FARTHEST * spacing {
        return None;
    }
    if layer.mesh {
        on_mesh(layer, nearest, p, normal, reach)
    } else {
        on_cloud(layer, nearest, p, normal, reach)
    }
}

fn on_mesh(layer: &Layer<'_>, nearest: u32, p: &Point3, normal: &Vec3, reach: f64) -> Option<Hit> {
    let mut best: Option<Closest> = None;
    let mut look = |id: u32| {
        for &t in layer.fan(id) {
            let found = Closest::new(layer, t, p);
            if best.is_none_or(|b| found.square < b.square) {
                best = Some(found);
            }
        }
        best
    };
    let first = look(nearest)?;
    // At the rim of the fan, the triangle behind it may be nearer.
    if first.weights.contains(&0.0) {
        layer.scan.neighbours(nearest).iter().for_each(|&id| {
            look(id);
        });
    }
    let best = best?;
    if best.square > reach * reach || best.off_border(layer) {
        return None;
    }
    let normals = layer.scan.normals();
    let corners = layer.scan.triangles()[best.triangle as usize];
    let there: Vec3 =
        corners.iter().zip(best.weights).map(|(&id, w)| normals[id as usize] * w).sum();
    (there.dot(normal) >= FACING * there.norm() && there != Vec3::zeros())
        .then_some(Hit { element: best.triangle, at: best.at })
}

fn on_cloud(layer: &Layer<'_>, nearest: u32, p: &Point3, normal: &Vec3, reach: f64) -> Option<Hit> {
    let (q, there) =
        (layer.scan.points()[nearest as usize], layer.scan.normals()[nearest as usize]);
    let height = (p - q).dot(&there);
    let aside = (p - q) - there * height;
    let border = layer.scan.is_border(nearest);
    let room = f64::from(layer.spacing[nearest as usize]) * if border { 0.5 } else { FAR };
    // Estimated normals have no sure sign.
    let facing = there.dot(normal).abs() >= FACING;
    (height.abs() <= reach && aside.norm() <= room && facing)
        .then_some(Hit { element: nearest, at: q + aside })
}

/// The point of a triangle that is nearest to a place.
#[derive(Clone, Copy)]
struct Closest {
    triangle: u32,
    at: Point3,
    /// Barycentric, exactly zero off a side.
    weights: [f64; 3],
    square: f64,
}

impl Closest {
    fn new(layer: &Layer<'_>, triangle: u32, p: &Point3) -> Self {
        let corners = layer.scan.triangles()[triangle as usize];
        let [a, b, c] = corners.map(|id| layer.scan.points()[id as usize]);
        // A triangle without area may have no answer.
        let weights = closest(&a, &b, &c, p);
        let weights = if weights.iter().all(|w| w.is_finite()) { weights } else { [1.0, 0.0, 0.0] };
        let at = a.coords * weights[0] + b.coords * weights[1] + c.coords * weights[2];
        Closest { triangle, at: at.into(), weights, square: (p.coords - at).norm_squared() }
    }

    /// Whether it lies on the scan's border, so that the place is beside the surface.
    fn off_border(&self, layer: &Layer<'_>) -> bool {
        let corners = layer.scan.triangles()[self.triangle as usize];
        let on = [0, 1, 2].into_iter().filter(|&k| self.weights[k] > 0.0);
        let on: Vec<u32> = on.map(|k| corners[k]).collect();
        match on[..] {
            [a] => layer.scan.is_border(a),
            [a, b] => {
                let both = |t: &&u32| layer.scan.triangles()[**t as usize].contains(&b);
                layer.fan(a).iter().filter(both).count() < 2
            }
            _ => false,
        }
    }
}

/// Barycentric weights of the point of a triangle that is nearest to `p`, by the region of its plane that it
/// projects to: Ericson, "Real-time collision detection" (2005), 5.1.5.
fn closest(a: &Point3, b: &Point3, c: &Point3, p: &Point3) -> [f64; 3] {
    let (ab, ac, ap) = (b - a, c - a, p - a);
    let (d1, d2) = (ab.dot(&ap), ac.dot(&ap));
    if d1 <= 0.0 && d2 <= 0.0 {
        return [1.0, 0.0, 0.0];
    }
    let bp = p - b;
    let (d3, d4) = (ab.dot(&bp), ac.dot(&bp));
    if d3 >= 0.0 && d4 <= d3 {
        return [0.0, 1.0, 0.0];
    }
    let vc = d1 * d4 - d3 * d2;
    if vc <= 0.0 && d1 >= 0.0 && d3 <= 0.0 {
        let v = d1 / (d1 - d3);
        return [1.0 - v, v, 0.0];
    }
    let cp = p - c;
    let (d5, d6) = (ab.dot(&cp), ac.dot(&cp));
    if d6 >= 0.0 && d5 <= d6 {
        return [0.0, 0.0, 1.0];
    }
    let vb = d5 * d2 - d1 * d6;
    if vb <= 0.0 && d2 >= 0.0 && d6 <= 0.0 {
        let w = d2 / (d2 - d6);
        return [1.0 - w, 0.0, w];
    }
    let va = d3 * d6 - d5 * d4;
    if va <= 0.0 && d4 >= d3 && d5 >= d6 {
        let w = (d4 - d3) / ((d4 - d3) + (d5 - d6));
        return [0.0, 1.0 - w, w];
    }
    let sum = va + vb + vc;
    [va / sum, vb / sum, vc / sum]
}

/// Cosine of the largest angle between the surfaces of two scans at one place: noise turns fine triangles.
const FACING: f64 = 0.5;
/// How far a place on the surface of a cloud may be from the nearest of its points, in spacings.
const FAR: f64 = 0.75;
/// The same in a triangle, which may be longer than usual.
const FARTHEST: f64 = 2.0;
