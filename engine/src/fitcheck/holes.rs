//! Do the bolts go in: each bolt hole of the part against the scanned hole's axis, and the pitches.
//!
//! The bolt is taken to stand on the scanned axis. Its play in the part's hole, less the offset of
//! the two axes at the worse end of the part's hole (which holds the tilt through the thickness),
//! is the margin. A pitch is judged by its difference alone: what is left of the play of both holes.

use super::budget::{Budget, deviation};
use super::scene::Mount;
use super::view::View;
use super::{Bolt, Finding, Verdict};
use crate::error::{Error, Result};
use crate::primitive::{Direction, Line, Point3, unit};

/// Scanned hole and part's hole of each mount.
pub(super) fn pairs(view: &View<'_>, mounts: &[Mount]) -> Result<Vec<Pair>> {
    mounts.iter().map(|m| Pair::new(view, m)).collect()
}

/// One finding per mount with a bolt, and one per pair of such mounts.
pub(super) fn check(view: &View<'_>, holes: &[Pair]) -> Vec<Finding> {
    let mut findings: Vec<Finding> = holes.iter().map(|h| h.finding(view, None)).collect();
    for (i, a) in holes.iter().enumerate() {
        findings.extend(holes[i + 1..].iter().map(|b| pitch(view, a, b)));
    }
    findings
}

/// A scanned hole and the part's hole over it.
pub(super) struct Pair {
    feature: usize,
    name: String,
    bolt: Option<Bolt>,
    /// Scanned axis.
    scanned: Line,
    /// Diameter of the scanned hole, if it has one.
    scanned_diameter: Option<f64>,
    /// Part's axis, pointing away from the seat, from the seat's end of the hole.
    part: Line,
    part_diameter: f64,
    depth: f64,
}

impl Pair {
    fn new(view: &View<'_>, mount: &Mount) -> Result<Self> {
        let scene = &view.scene.features[mount.hole];
        let feature = &scene.feature;
        let direction = feature.shape.direction().ok_or_else(|| {
            Error::argument(
                format!("hole of mount \"{}\"", feature.name),
                feature.kind.name(),
                "a feature with an axis",
            )
        })?;
        let scanned = Line { point: feature.shape.point(), direction };
        let hole = &mount.part_hole;
        let (half, axis) = (0.5 * hole.depth.abs(), hole.axis.into_inner());
        // The end of the part's hole that lies on the seat, else the one nearer to the scanned hole.
        let target = match mount.seat.map(|f| &view.scene.features[f].feature.shape) {
            Some(seat) => seat.project(&hole.point),
            None => scanned.point,
        };
        let ends = [hole.point - axis * half, hole.point + axis * half];
        let first = (ends[0] - target).norm() <= (ends[1] - target).norm();
        let (point, direction) = if first { (ends[0], hole.axis) } else { (ends[1], -hole.axis) };
        Ok(Pair {
            feature: mount.hole,
            name: feature.name.clone(),
            bolt: scene.bolt.map(Bolt::parse).transpose()?,
            scanned,
            scanned_diameter: radius_of(view, mount.hole).map(|r| 2.0 * r),
            part: Line { point, direction },
            part_diameter: 2.0 * hole.radius,
            depth: hole.depth.abs(),
        })
    }

    /// Index of the scanned hole among the scene's features.
    pub(super) fn feature(&self) -> usize {
        self.feature
    }

    pub(super) fn name(&self) -> &str {
        &self.name
    }

    /// The bolt, if it is named.
    pub(super) fn bolt(&self) -> Option<Bolt> {
        self.bolt
    }

    /// Axis of the part's hole from the seat out of the part.
    pub(super) fn part_axis(&self) -> Line {
        self.part
    }

    /// Scanned axis, out of the part; along the part's where the two are crossed.
    pub(super) fn bolt_axis(&self) -> Line {
        let along = self.scanned.direction.dot(&self.part.direction);
        let direction = match along {
            a if a > LEAST_COSINE => self.scanned.direction,
            a if a < -LEAST_COSINE => -self.scanned.direction,
            _ => self.part.direction,
        };
        Line { point: self.scanned.point, direction }
    }

    /// Direction of the bolt: the scanned axis.
    pub(super) fn axis(&self) -> Direction {
        self.scanned.direction
    }

    /// Length of the part's hole, mm.
    pub(super) fn depth(&self) -> f64 {
        self.depth
    }

    /// Diameter of the part's hole, mm.
    pub(super) fn part_diameter(&self) -> f64 {
        self.part_diameter
    }

    /// Point of the part's axis at a depth from the seat and of the scanned axis beside it.
    pub(super) fn at(&self, depth: f64) -> (Point3, Point3) {
        let p = self.part.point + self.part.direction.into_inner() * depth;
        let along = self.scanned.direction.dot(&self.part.direction);
        // Where the scanned axis passes through the plane across the part's axis; for axes almost at
        // right angles that is nowhere useful and the foot serves.
        let q = if along.abs() > LEAST_COSINE {
            let t = (p - self.scanned.point).dot(&self.part.direction) / along;
            self.scanned.point + self.scanned.direction.into_inner() * t
        } else {
            self.scanned.project(&p)
        };
        (p, q)
    }

    fn angle(&self) -> f64 {
        let (a, b) = (&self.scanned.direction, &self.part.direction);
        a.cross(b).norm().atan2(a.dot(b).abs())
    }

    /// How far the bolt may be off the middle of the part's hole, mm.
    pub(super) fn play(&self) -> Option<f64> {
        self.bolt.map(|b| 0.5 * (self.part_diameter - b.nominal / self.angle().cos()))
    }

    /// Both holes taken elsewhere: points of the part and of the machine by their own maps, their sizes by
    /// their own factors. The bolt grows with the machine that it is in.
    pub(super) fn grown(
        &self,
        part: impl Fn(&Point3) -> Point3,
        machine: impl Fn(&Point3) -> Point3,
        [by_part, by_machine]: [f64; 2],
    ) -> Self {
        let bolt = self.bolt.map(|b| Bolt { nominal: b.nominal * by_machine, ..b });
        Pair {
            name: self.name.clone(),
            bolt,
            scanned: Line { point: machine(&self.scanned.point), ..self.scanned },
            scanned_diameter: self.scanned_diameter.map(|d| d * by_machine),
            part: Line { point: part(&self.part.point), ..self.part },
            part_diameter: self.part_diameter * by_part,
            depth: self.depth * by_part,
            ..*self
        }
    }

    /// Whether the bolt goes in; `more` is a further cause of uncertainty with its standard deviation.
    pub(super) fn finding(&self, view: &View<'_>, more: Option<(&'static str, f64)>) -> Finding {
        let (at_seat, at_top) = (self.at(0.0), self.at(self.depth));
        let offset = |(p, q): &(Point3, Point3)| (p - q).norm();
        let (seat, top) = (offset(&at_seat), offset(&at_top));
        let worst = if top > seat { at_top } else { at_seat };
        let mut found = Finding::new("hole", self.name.clone());
        (found.at, found.to) = (Some(worst.0), Some(worst.1));
        let tilt = (top - seat).max(0.0);
        found.detail = format!(
            "axes {seat:.3} mm apart at the seat and {top:.3} mm at the other end, {:.2} degrees; \
             part's hole {:.2} mm",
            self.angle().to_degrees(),
            self.part_diameter
        );
        let mut budget = self.budget(view, &worst);
        if let Some((cause, deviation)) = more {
            budget.add(cause, deviation);
        }
        let uncertainty = budget.expanded();
        found.spend(&budget);
        let Some((bolt, play)) = self.bolt.zip(self.play()) else {
            found.verdict = Verdict::Undecided;
            found.value = Some(-seat - tilt);
            found.remedy = "name the bolt of this hole".into();
            return found;
        };
        let margin = play - seat - tilt;
        found.value = Some(margin);
        found.limit = Some(0.0);
        found.verdict = Verdict::at_least(margin, 0.0, uncertainty);
        found.detail += &format!(
            ", {} bolt: play {play:.3} mm less offset {seat:.3} less tilt {tilt:.3}",
            bolt.name
        );
        found.remedy = self.remedy(&found, &bolt, &worst, &budget);
        found
    }

    /// What moves the two axes against each other.
    fn budget(&self, view: &View<'_>, worst: &(Point3, Point3)) -> Budget {
        let along = unit(worst.0 - worst.1);
        let feature = &view.scene.features[self.feature];
        let mut budget = Budget::of_place(
            view.scene,
            feature.scan,
            view.part.chord_error,
            &worst.1,
            along.as_ref(),
        );
        let covariance = &feature.feature.covariance;
        budget.add("hole axis", deviation(covariance, &worst.1, along.as_ref()));
        budget
    }

    fn remedy(
        &self,
        found: &Finding,
        bolt: &Bolt,
        worst: &(Point3, Point3),
        budget: &Budget,
    ) -> String {
        let need = found.uncertainty.unwrap_or(0.0) - found.value.unwrap_or(0.0);
        let wide = match self.scanned_diameter {
            Some(d) if d > bolt.nominal => format!(
                "; if the machine's hole is plain, not tapped, its width of {d:.2} mm gives {:.2} mm more",
                0.5 * (d - bolt.nominal)
            ),
            _ => String::new(),
        };
        let v = worst.1 - worst.0;
        match found.verdict {
            Verdict::Pass => String::new(),
            Verdict::Fail => format!(
                "move the part's hole by ({:.2}, {:.2}, {:.2}) mm, or widen it to {:.2} mm{wide}",
                v.x,
                v.y,
                v.z,
                self.part_diameter + 2.0 * need
            ),
            Verdict::Undecided => format!(
                "the uncertainty is mostly from {}: see more of the hole's wall, or widen the part's hole to {:.2} mm{wide}",
                budget.largest(),
                self.part_diameter + 2.0 * need
            ),
        }
    }
}

/// Distance between two scanned holes against that of the part's holes.
fn pitch(view: &View<'_>, a: &Pair, b: &Pair) -> Finding {
    let ((pa, qa), (pb, qb)) = (a.at(0.0), b.at(0.0));
    let (designed, scanned) = ((pb - pa).norm(), (qb - qa).norm());
    let difference = scanned - designed;
    let mut found = Finding::new("hole", format!("{} to {}", a.name, b.name));
    (found.at, found.to) = (Some(pa), Some(pb));
    let along = unit(qb - qa);
    let mut budget = Budget::default();
    for (pair, q) in [(a, &qa), (b, &qb)] {
        budget.add("hole axis", axis_deviation(view, pair.feature, q, along.as_ref()));
    }
    // Holes of two scans: their joins move them against each other.
    let scans = [a, b].map(|p| view.scene.features[p.feature].scan);
    if scans[0] != scans[1] {
        for (s, q) in scans.iter().zip([&qa, &qb]) {
            let join = s.and_then(|s| view.scene.scans[s].join_covariance);
            budget.add("join", join.map_or(0.0, |c| deviation(c, q, along.as_ref())));
        }
    }
    let uncertainty = budget.expanded();
    found.spend(&budget);
    found.detail = format!("{scanned:.3} mm apart on the machine, {designed:.3} mm on the part");
    let Some((play_a, play_b)) = a.play().zip(b.play()) else {
        found.verdict = Verdict::Undecided;
        found.value = Some(-difference.abs());
        found.remedy = "name the bolts of both holes".into();
        return found;
    };
    let margin = play_a + play_b - difference.abs();
    found.value = Some(margin);
    found.limit = Some(0.0);
    found.verdict = Verdict::at_least(margin, 0.0, uncertainty);
    found.detail += &format!(", play of both bolts {:.3} mm", play_a + play_b);
    if found.verdict != Verdict::Pass {
        found.remedy = format!("make the pitch {scanned:.2} mm, or one hole a slot along it");
    }
    found
}

fn axis_deviation(view: &View<'_>, f: usize, at: &Point3, along: Option<&Direction>) -> f64 {
    deviation(&view.scene.features[f].feature.covariance, at, along)
}

pub(super) fn radius_of(view: &View<'_>, f: usize) -> Option<f64> {
    use crate::primitive::Primitive;
    match &view.scene.features[f].feature.shape {
        Primitive::Cylinder(c) => Some(c.radius),
        Primitive::Circle(c) => Some(c.radius),
        Primitive::Plane(_)
        | Primitive::Line(_)
        | Primitive::Sphere(_)
        | Primitive::Cone(_)
        | Primitive::Torus(_)
        | Primitive::Composite(_) => None,
    }
}

/// Cosine of the angle between the axes below which they are called crossed.
const LEAST_COSINE: f64 = 0.1;
