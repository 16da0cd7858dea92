//! Air between the part and other designed parts, or their overlap: exact on both meshes.
//!
//! Both are designed in the machine's coordinates, so the machine's frame is no part of the uncertainty between
//! them, unless the part was moved to where the bolts of the real machine are. Contact that is wanted is named, not
//! told by its size: with a part that is meant to touch only overlap counts.

mod depth;
mod patches;
mod size;

use super::budget::{Budget, deviation};
use super::scene::OtherPart;
use super::view::View;
use super::{Finding, Measure, Verdict};
use crate::error::{Error, Result};
use crate::exchange::Part;
use crate::primitive::{Direction, Point3, Primitive, Vec3, unit};
use crate::solid::{Mesh, Solid};
use patches::{Patch, Pieces};

/// Another part, prepared.
pub(super) struct Other<'a> {
    pub(super) given: &'a OtherPart<'a>,
    pub(super) solid: Solid,
    /// Its surface.
    pub(super) mesh: Mesh,
}

impl<'a> Other<'a> {
    /// # Errors
    /// [`Error::OpenPart`], [`Error::Argument`] for corners out of range or a clearance that is no length.
    pub(super) fn new(given: &'a OtherPart<'a>) -> Result<Self> {
        let part = given.part;
        let name = |what: &str| format!("{what} of the other part \"{}\"", given.name);
        let corners = part.points.len();
        if let Some(i) = part.triangles.iter().flatten().find(|&&i| i as usize >= corners) {
            return Err(Error::argument(name("triangle corner"), i, format!("below {corners}")));
        }
        if part.triangles.is_empty() {
            return Err(Error::argument(name("triangles"), 0, "at least 4"));
        }
        if let Some(p) = part.points.iter().find(|p| p.iter().any(|x| !x.is_finite())) {
            return Err(Error::argument(name("point"), p, "finite coordinates"));
        }
        if let Some(c) = given.keep_clear.filter(|c| !(c.is_finite() && *c >= 0.0)) {
            return Err(Error::argument(name("keep_clear"), c, "zero or more, mm"));
        }
        let solid = solid_of(part)?;
        let mesh = Mesh::new(part.points.clone(), part.triangles.clone());
        Ok(Other { given, solid, mesh })
    }
}

/// Solid of a part whose corners are in range.
pub(super) fn solid_of(part: &Part) -> Result<Solid> {
    Solid::new(&part.points, &part.triangles).map_err(|open| Error::OpenPart {
        path: part.file.clone(),
        open_edges: open.count,
        at: open.at.into(),
    })
}

/// At least one finding for each other part; one more for each further place that is too near.
pub(super) fn check(view: &View<'_>) -> Vec<Finding> {
    view.others.iter().flat_map(|other| Pair { view, other }.findings()).collect()
}

/// The part and another one.
struct Pair<'a> {
    view: &'a View<'a>,
    other: &'a Other<'a>,
}

/// Where the two are nearest or deepest in one another.
struct Meeting {
    /// Least air, or the depth of the overlap as a negative number, mm.
    distance: f64,
    /// How much deeper the overlap may be, mm.
    bound: f64,
    on_part: Point3,
    on_other: Point3,
    /// From one part to the other, where that has a direction.
    along: Option<Direction>,
}

impl Pair<'_> {
    fn limit(&self) -> f64 {
        if self.other.given.touches {
            return 0.0;
        }
        self.other.given.keep_clear.unwrap_or(self.view.limits.clearance)
    }

    fn findings(&self) -> Vec<Finding> {
        let chords = self.view.part.chord_error + self.other.given.part.chord_error;
        let pieces = Pieces::new(self.view, self.other, self.limit() + 2.0 * chords);
        let patches = pieces.patches();
        let mut found: Vec<Finding> =
            patches.iter().filter_map(|p| self.of_patch(&pieces, p)).collect();
        found.sort_by(|a, b| value(a).total_cmp(&value(b)));
        if found.is_empty() {
            // All of it is farther away than is asked.
            let near = self.view.solid.least_distance(&self.other.mesh, f64::INFINITY);
            found.extend(near.map(|w| {
                let along = unit(w.on_a - w.on_b);
                let (distance, on_part, on_other) = (w.distance, w.on_a, w.on_b);
                self.finding(&Meeting { distance, bound: 0.0, on_part, on_other, along })
            }));
            return found;
        }
        let mut worst = found.remove(0);
        found.retain(|f| f.verdict != Verdict::Pass);
        if found.len() > PLACES {
            let more = found.len();
            worst.detail += &format!("; {more} more places are too near, {PLACES} of them follow");
            found.truncate(PLACES);
        }
        for (k, f) in found.iter_mut().enumerate() {
            f.name += &format!(", place {}", k + 2);
        }
        found.insert(0, worst);
        found
    }

    fn of_patch(&self, pieces: &Pieces<'_>, patch: &Patch) -> Option<Finding> {
        let surface = pieces.mesh(patch);
        // Of a part that holds the other whole only its own surface is near.
        let near = match &surface.other {
            Some(mesh) => self.view.solid.least_distance(mesh, f64::INFINITY),
            None => surface.part.as_ref().and_then(|mesh| {
                let w = self.other.solid.least_distance(mesh, f64::INFINITY)?;
                Some(crate::solid::Witness { on_a: w.on_b, on_b: w.on_a, ..w })
            }),
        }?;
        let mut meeting = Meeting {
            distance: near.distance,
            bound: 0.0,
            on_part: near.on_a,
            on_other: near.on_b,
            along: unit(near.on_a - near.on_b),
        };
        let deepest = depth::deepest(pieces, patch);
        let overlap = deepest.filter(|d| d.depth > ROUNDING);
        if let Some(d) = &overlap {
            meeting = Meeting {
                distance: -d.depth,
                bound: d.bound,
                on_part: d.on_part,
                on_other: d.on_other,
                along: unit(d.on_part - d.on_other),
            };
        }
        let mut found = self.finding(&meeting);
        if overlap.is_some() {
            let size = size::of(self.view, self.other, pieces, patch);
            found.number("area", size.area, Measure::Area);
            found.number("volume", size.volume, Measure::Volume);
            found.extent = Some(size.extent);
            found.detail += &format!(
                "; {:.2} mm² of its surface lie inside the part, and both share {:.3} mm³",
                size.area, size.volume
            );
        } else if found.verdict != Verdict::Pass {
            found.number("area", pieces.area(patch, self.limit()), Measure::Area);
            found.extent = Some(pieces.extent(patch));
        }
        Some(found)
    }

    fn finding(&self, meeting: &Meeting) -> Finding {
        let limit = self.limit();
        let given = self.other.given;
        let mut found = Finding::new("clearance", given.name);
        let budget = self.budget(meeting);
        // The bound is no standard deviation: it is added as it is.
        let uncertainty = budget.expanded() + meeting.bound;
        found.spend(&budget);
        found.uncertainty = Some(uncertainty);
        found.limit = Some(limit);
        found.value = Some(meeting.distance);
        (found.at, found.to) = (Some(meeting.on_part), Some(meeting.on_other));
        let distance = meeting.distance;
        found.verdict = if given.touches {
            // Contact is wanted: what both meshes leave open is contact, only what is certain is overlap.
            if -distance > uncertainty + ROUNDING { Verdict::Fail } else { Verdict::Pass }
        } else {
            Verdict::at_least(distance + ROUNDING, limit, uncertainty)
        };
        found.detail = match distance {
            d if d < 0.0 => format!("both parts overlap, {:.3} mm deep", -d),
            d if d <= ROUNDING => "both parts touch".into(),
            d => format!("least air {d:.3} mm between both parts as they are designed"),
        };
        if given.touches && distance > ROUNDING {
            found.detail += "; they are meant to touch and nowhere do";
        } else if given.touches && distance < 0.0 && found.verdict == Verdict::Pass {
            found.detail +=
                ", no more than their meshes leave open: counted as the contact that is wanted";
        }
        if self.view.moved && given.touches {
            found.detail += "; taken to move with the part";
        } else if self.view.moved {
            found.detail +=
                "; the part stands where its bolts go in, the other one where it was designed";
        }
        found.remedy = match found.verdict {
            Verdict::Pass => String::new(),
            Verdict::Fail => format!(
                "move the surface of one of both there away by {:.2} mm",
                limit - distance + uncertainty
            ),
            Verdict::Undecided => format!(
                "the uncertainty is mostly from {}: give both parts a smaller `chord_error`, or {:.2} mm more room",
                budget.largest(),
                limit - distance + uncertainty
            ),
        };
        found
    }

    /// Chords of both meshes where they meet; the machine's frame only once the part stands where the bolts are.
    fn budget(&self, meeting: &Meeting) -> Budget {
        let mut budget = Budget::default();
        let chord = |part: &Part, at: &Point3| chord_error(part, at) / 3f64.sqrt();
        budget.add("part mesh", chord(self.view.part, &meeting.on_part));
        budget.add("other part's mesh", chord(self.other.given.part, &meeting.on_other));
        if self.view.moved && !self.other.given.touches {
            let frame = self.view.scene.frame_covariance;
            let of = |c| deviation(c, &meeting.on_part, meeting.along.as_ref());
            budget.add("frame", frame.map_or(0.0, of));
        }
        budget
    }
}

/// How far the mesh may be off the exact surface at a place on it, mm: none where all round it is of flat faces.
fn chord_error(part: &Part, at: &Point3) -> f64 {
    if part.chord_error == 0.0 || part.face_of_triangle.len() != part.triangles.len() {
        return part.chord_error;
    }
    let flat = |t: usize| {
        let face = part.faces.get(part.face_of_triangle[t] as usize);
        matches!(face.and_then(|f| f.shape.as_ref()), Some(Primitive::Plane(_)))
    };
    let curved = (0..part.triangles.len()).filter(|&t| !flat(t)).any(|t| {
        let corners = part.triangles[t].map(|i| part.points[i as usize]);
        patches::distance(at, &corners) <= BESIDE
    });
    if curved { part.chord_error } else { 0.0 }
}

fn value(found: &Finding) -> f64 {
    found.value.unwrap_or(f64::INFINITY)
}

/// Surface of a solid taken inward by about `by` (mm): each corner to where the planes round it have gone.
pub(super) fn shrunk(part: &Part, by: f64) -> Mesh {
    let mut planes: std::collections::BTreeMap<[u64; 3], Vec<Vec3>> =
        std::collections::BTreeMap::new();
    let key = |i: u32| part.points[i as usize].coords.map(|x| (x + 0.0).to_bits()).into();
    for t in &part.triangles {
        let [a, b, c] = t.map(|i| part.points[i as usize]);
        let Some(n) = unit((b - a).cross(&(c - a))) else { continue };
        for &i in t {
            let round = planes.entry(key(i)).or_default();
            if round.iter().all(|m| m.dot(&n) < ONE_PLANE) {
                round.push(n.into_inner());
            }
        }
    }
    let side = if part.volume() < 0.0 { by } else { -by };
    let moved = |i: u32| {
        let normals = planes.get(&key(i)).map_or(&[][..], Vec::as_slice);
        let matrix: nalgebra::Matrix3<f64> = normals.iter().map(|n| n * n.transpose()).sum();
        let right: Vec3 = normals.iter().sum::<Vec3>() * side;
        let eigen = matrix.symmetric_eigen();
        let largest = eigen.eigenvalues.max();
        let along = |k: usize| {
            let axis = eigen.eigenvectors.column(k).into_owned();
            let value = eigen.eigenvalues[k];
            if value > FLAT * largest { axis * (axis.dot(&right) / value) } else { Vec3::zeros() }
        };
        part.points[i as usize] + (0..3).map(along).sum::<Vec3>()
    };
    let points = (0..part.points.len() as u32).map(moved).collect();
    Mesh::new(points, part.triangles.clone())
}

/// Distance below which two designed surfaces touch, mm: STEP files and their transformations are no better.
const ROUNDING: f64 = 1e-6;
/// Distance from a triangle within which a place counts as on it, mm.
const BESIDE: f64 = 1e-6;
/// Most further places that are listed.
const PLACES: usize = 12;
/// Cosine of the angle between normals of one plane.
const ONE_PLANE: f64 = 0.9999;
/// Eigenvalue, as a share of the largest, from which the planes round a corner differ in direction.
const FLAT: f64 = 0.01;
