//! Round hole in a face: the axis from its wall where the wall was seen, else the centre from its rim alone.
//!
//! A scan rounds edges or loses them, so points of the face end a little before the true edge and
//! the rim alone reads a diameter too large by twice that; the centre is far better than the
//! diameter as long as the rim was seen all round. A wall shorter than half its diameter says
//! where the hole is but not how it leans, so its axis is taken square to the face.

use nalgebra::{SMatrix, Vector3};

use super::{Feature, FeatureKind, axis_meets, surface::rejected_note};
use crate::associate::{Covariance, Criterion, Fit, Input, NoiseModel, Request, extent};
use crate::error::{Error, Result};
use crate::primitive::{
    Bounded, Circle, Cylinder, Direction, Extent, Line, Plane, Point3, Primitive,
};
use crate::region::Region;
use crate::scan::Scan;

/// What is known of a hole before looking for it; lengths mm.
#[derive(Debug, Clone)]
pub struct HoleSearch<'a> {
    /// Name of the feature to be made.
    pub name: &'a str,
    /// The face it opens in, scan coordinates, its normal out of the material.
    pub face: &'a Feature,
    /// The face's points, edges included.
    pub face_region: &'a Region,
    /// A point near the hole: in its mouth, on its rim or on its wall.
    pub pick: Point3,
    /// Largest radius to look for; default a third of the face's largest extent.
    pub largest_radius: Option<f64>,
    /// How the scan's noise hangs together, if known from its large surfaces.
    pub noise_model: Option<&'a NoiseModel>,
}

impl HoleSearch<'_> {
    /// Finds the hole; returns it with the ids of its wall (empty when only the rim was seen).
    ///
    /// # Errors
    /// [`Error::Construction`] if the face is no plane; [`Error::Undetermined`] if neither wall nor
    /// rim is there, with what to do.
    pub fn find(&self, request: &Request) -> Result<(Feature, Region)> {
        let Primitive::Plane(face) = &self.face.shape else {
            return Err(Error::Construction {
                what: format!("hole \"{}\"", self.name),
                reason: format!(
                    "\"{}\" is no plane; name the flat face it opens in",
                    self.face.name
                ),
            });
        };
        // What belongs to the hole is found by least squares; the criterion is for what was found.
        let gaussian = Request { criterion: Criterion::LeastSquares, ..request.clone() };
        let rim = self.rim(face, &gaussian);
        let wall = self.wall(face, rim.as_ref().map(|r| &r.0), &gaussian);
        match (wall, rim) {
            (Some(wall), _) => {
                let fit = self.wall_by_criterion(face, wall.fit, &wall.candidates, request)?;
                Ok((self.by_wall(face, fit, &wall.region)?, wall.region))
            }
            (None, Some((mut rim, points))) => {
                if request.criterion != Criterion::LeastSquares {
                    rim = Circle::fit_points(&self.input(&points), request)?;
                }
                Ok((self.by_rim(face, rim), Region::new(self.scan(), vec![], None)))
            }
            (None, None) => Err(Error::Undetermined {
                what: format!("hole \"{}\"", self.name),
                reason: format!(
                    "neither a wall nor a rim is seen round ({:.3}, {:.3}, {:.3}) in \"{}\"",
                    self.pick.x, self.pick.y, self.pick.z, self.face.name
                ),
                remedy: "pick nearer to the hole, or scan its mouth from two slants, or put a \
                         pin in it and scan that as a cylinder"
                    .into(),
            }),
        }
    }

    fn input<'p>(&'p self, points: &'p [Point3]) -> Input<'p> {
        Input { noise_model: self.noise_model, ..Input::new(points) }
    }

    fn scan(&self) -> &Scan {
        self.face_region.scan()
    }

    /// Circle through where the face ends all round the pick, and the points it is fitted to.
    fn rim(&self, face: &Plane, request: &Request) -> Option<(Fit<Circle>, Vec<Point3>)> {
        let reach = self.largest_radius.unwrap_or_else(|| self.face_extent() / 3.0);
        let mut centre = face.project(&self.pick);
        let mut last: Option<(Fit<Circle>, Vec<Point3>)> = None;
        for _ in 0..RIM_ROUNDS {
            // A sector holds at least one point of the face's last row: a narrower one would take
            // a point of the row behind it and read the rim too wide.
            let round = last.as_ref().map_or(0.0, |f| std::f64::consts::TAU * f.0.shape.radius);
            let rows = round / (SECTOR_WIDTH * self.scan().resolution());
            let sectors = (rows as usize).clamp(SECTORS.0, SECTORS.1);
            let points = self.rim_points(face, &centre, reach, sectors)?;
            let fit = Circle::fit_points(&self.input(&points), request).ok()?;
            let moved = (fit.shape.centre - centre).norm();
            centre = fit.shape.centre;
            let settled = moved < RIM_SETTLED * self.scan().resolution();
            last = Some((fit, points));
            if settled {
                break;
            }
        }
        // A rim is a rim only if the circle describes it: its scatter is of the spacing's order.
        last.filter(|(f, _)| {
            f.quality.rms < self.scan().resolution()
                && f.quality.arc > RIM_ARC
                && f.shape.radius < reach
        })
    }

    /// In each sector round a centre, the face's nearest point, dropped on the face.
    fn rim_points(
        &self,
        face: &Plane,
        centre: &Point3,
        reach: f64,
        sectors: usize,
    ) -> Option<Vec<Point3>> {
        let frame = crate::primitive::frame_from_axis(&face.normal);
        let mut nearest = vec![(f64::INFINITY, Point3::origin()); sectors];
        for &id in self.face_region.ids() {
            let p = face.project(&self.scan().points()[id as usize]);
            let v: Vector3<f64> = frame.inverse_transform_vector(&(p - centre));
            let distance = v.xy().norm();
            if distance > 2.0 * reach {
                continue;
            }
            let turn = (v.y.atan2(v.x) / std::f64::consts::TAU).rem_euclid(1.0);
            let sector = ((turn * sectors as f64) as usize).min(sectors - 1);
            if distance < nearest[sector].0 {
                nearest[sector] = (distance, p);
            }
        }
        let points: Vec<Point3> =
            nearest.iter().filter(|(d, _)| d.is_finite()).map(|(_, p)| *p).collect();
        (points.len() * 2 > sectors).then_some(points)
    }

    fn face_extent(&self) -> f64 {
        let points = self.face_region.points();
        let mut low = Vector3::repeat(f64::INFINITY);
        let mut high = Vector3::repeat(f64::NEG_INFINITY);
        for p in &points {
            low = low.inf(&p.coords);
            high = high.sup(&p.coords);
        }
        if points.is_empty() { 0.0 } else { (high - low).norm() }
    }

    /// Cylinder through the wall, if enough of it was seen.
    fn wall(&self, face: &Plane, rim: Option<&Fit<Circle>>, request: &Request) -> Option<Wall> {
        let candidates = self.wall_candidates(face, rim);
        let (points, normals) = (candidates.points(), candidates.normals());
        if points.len() < WALL_POINTS {
            return None;
        }
        let square = self.square_wall(face, &points, request).ok()?;
        let on = |id: u32| {
            let p = &self.scan().points()[id as usize];
            square.shape.distance(p).abs() <= 3.0 * square.quality.sigma
        };
        let region = candidates.filtered(on);
        let concave =
            points.iter().zip(&normals).filter(|(p, n)| square.shape.normal_at(p).dot(n) < 0.0);
        let enough = square.quality.arc > WALL_ARC
            && square.quality.extent > 2.0 * self.scan().resolution()
            && concave.count() * 2 > points.len();
        if !enough {
            return None;
        }
        let long = square.quality.extent > square.shape.radius;
        let free = long.then(|| self.free_wall(face, &points, &normals, request)).flatten();
        let fit = free.map_or(WallFit::Square(square), WallFit::Free);
        Some(Wall { fit, region, candidates })
    }

    /// The wall again, by the criterion asked for, with as many freedoms as least squares gave it.
    fn wall_by_criterion(
        &self,
        face: &Plane,
        fit: WallFit,
        candidates: &Region,
        request: &Request,
    ) -> Result<WallFit> {
        if request.criterion == Criterion::LeastSquares {
            return Ok(fit);
        }
        let points = candidates.points();
        match fit {
            WallFit::Square(_) => self.square_wall(face, &points, request).map(WallFit::Square),
            WallFit::Free(_) => {
                let normals = candidates.normals();
                let input = Input { normals: Some(&normals), ..self.input(&points) };
                free_fit(face, &input, request).map(WallFit::Free)
            }
        }
    }

    /// Points under the face whose normals look across it, connected to the nearest one to the pick.
    fn wall_candidates(&self, face: &Plane, rim: Option<&Fit<Circle>>) -> Region {
        let scan = self.scan();
        let (points, normals) = (scan.points(), scan.normals());
        let margin = WALL_MARGIN * scan.resolution();
        let axis = rim.map(|r| Line { point: r.shape.centre, direction: face.normal });
        let reach = rim.map_or_else(
            || self.largest_radius.unwrap_or_else(|| self.face_extent() / 3.0),
            |r| r.shape.radius + scan.resolution(),
        );
        let is_wall = |id: u32| {
            let p = &points[id as usize];
            let inside = match &axis {
                Some(a) => a.distance(p) < reach,
                None => (p - self.pick).norm() < 2.0 * reach,
            };
            inside
                && face.distance(p) < -margin
                && normals[id as usize].dot(&face.normal).abs() < WALL_SLANT
        };
        let middle = axis.map_or(self.pick, |a| a.point);
        let near: Vec<u32> = scan
            .within(&middle, reach * 4.0)
            .into_iter()
            .filter(|&id| is_wall(id) && !scan.is_border(id))
            .collect();
        Region::new(scan, near, Some(self.pick))
    }

    /// Wall as a cylinder square to the face: its points dropped on the face lie on a circle.
    fn square_wall(
        &self,
        face: &Plane,
        points: &[Point3],
        request: &Request,
    ) -> Result<Fit<Cylinder>> {
        let flat: Vec<Point3> = points.iter().map(|p| face.project(p)).collect();
        let fit = Circle::fit_points(&self.input(&flat), request)?;
        let circle = fit.shape;
        let cylinder = Cylinder { point: circle.centre, axis: face.normal, radius: circle.radius };
        let mut fit = fit.map(|_| cylinder);
        let along = points.iter().map(|p| face.distance(p));
        let (low, high) =
            along.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), d| (l.min(d), h.max(d)));
        fit.quality.extent = high - low;
        fit.covariance = square_covariance(&fit.covariance, &circle, self.face);
        fit.quality.contacts = fit.contacts.iter().map(|&i| points[i as usize]).collect();
        Ok(fit)
    }

    /// Wall as a cylinder free to lean, if it leans by no more than a drill does.
    fn free_wall(
        &self,
        face: &Plane,
        points: &[Point3],
        normals: &[Vector3<f64>],
        request: &Request,
    ) -> Option<Fit<Cylinder>> {
        let input = Input { normals: Some(normals), ..self.input(points) };
        let fit = free_fit(face, &input, request).ok()?;
        let lean = fit.shape.axis.dot(&face.normal).clamp(-1.0, 1.0).acos();
        (lean < LARGEST_LEAN).then_some(fit)
    }

    fn by_wall(&self, face: &Plane, fit: WallFit, region: &Region) -> Result<Feature> {
        let (fit, mut notes) = match fit {
            WallFit::Free(fit) => (fit, vec!["axis from its wall".to_string()]),
            WallFit::Square(fit) => (
                fit,
                vec!["wall shorter than half its diameter: axis taken square to the face".into()],
            ),
        };
        let mouth =
            axis_meets(&fit.shape.axis_line(), face).ok_or_else(|| Error::Construction {
                what: format!("hole \"{}\"", self.name),
                reason: format!("its axis does not meet \"{}\"", self.face.name),
            })?;
        let cylinder = Cylinder { point: mouth, ..fit.shape };
        let wall = extent(&cylinder.into(), &region.points());
        let depth = match &wall.extent {
            Extent::Patch { v, .. } => -v.0,
            _ => fit.quality.extent,
        };
        notes.push(format!(
            "wall seen {:.0}° round, {depth:.1} mm deep",
            fit.quality.arc.to_degrees()
        ));
        notes.extend(rejected_note(&fit.quality));
        let mut pieces = vec![wall];
        pieces.extend(mouth_pieces(&cylinder, depth));
        Ok(self.feature("builtin.cylinder", cylinder, pieces, fit.covariance, fit.quality, notes))
    }

    fn by_rim(&self, face: &Plane, fit: Fit<Circle>) -> Feature {
        let Circle { centre, radius, .. } = fit.shape;
        let cylinder = Cylinder { point: centre, axis: face.normal, radius };
        let mut covariance = square_covariance(&fit.covariance, &fit.shape, self.face);
        // The face ends anywhere within a spacing before the true edge: rectangular, GUM 4.3.7.
        let bias = self.scan().resolution() / 3f64.sqrt();
        covariance.matrix[(6, 6)] += bias * bias;
        let mut notes = vec![
            "from the rim alone: the wall was not seen".to_string(),
            "a scanned rim lies short of the true edge: the diameter reads large".to_string(),
        ];
        notes.extend(rejected_note(&fit.quality));
        let pieces = mouth_pieces(&cylinder, radius);
        self.feature("builtin.circle", cylinder, pieces.into(), covariance, fit.quality, notes)
    }

    fn feature(
        &self,
        fitter: &str,
        cylinder: Cylinder,
        pieces: Vec<Bounded>,
        covariance: Covariance,
        quality: crate::associate::Quality,
        notes: Vec<String>,
    ) -> Feature {
        Feature {
            name: self.name.into(),
            kind: FeatureKind::Hole,
            fitter: fitter.into(),
            shape: cylinder.into(),
            pieces,
            covariance,
            quality: Some(quality),
            noise: None,
            notes,
        }
    }
}

/// A wall that was found: its fit, its points, and all points that the fit was given.
struct Wall {
    fit: WallFit,
    region: Region,
    candidates: Region,
}

/// A wall with its own axis, or one too short to have one.
enum WallFit {
    Free(Fit<Cylinder>),
    Square(Fit<Cylinder>),
}

/// Cylinder through a wall's points, its axis out of the face.
fn free_fit(face: &Plane, input: &Input<'_>, request: &Request) -> Result<Fit<Cylinder>> {
    let fit = Cylinder::fit_points(input, request)?;
    let mut cylinder = fit.shape;
    if cylinder.axis.dot(&face.normal) < 0.0 {
        cylinder.axis = -cylinder.axis;
    }
    Ok(fit.map(|_| cylinder))
}

/// Rim circle, and the axis from above the mouth to the depth.
fn mouth_pieces(cylinder: &Cylinder, depth: f64) -> [Bounded; 2] {
    let circle = Circle { centre: cylinder.point, normal: cylinder.axis, radius: cylinder.radius };
    [
        Bounded { shape: circle.into(), extent: Extent::Whole },
        Bounded {
            shape: cylinder.axis_line().into(),
            extent: Extent::Segment(-depth, 2.0 * cylinder.radius),
        },
    ]
}

/// Covariance of an axis square to a face through a circle's centre: place and size from the
/// circle, lean from the face.
fn square_covariance(circle: &Covariance, shape: &Circle, face: &Feature) -> Covariance {
    let about = circle.about(shape.centre);
    let mut matrix = SMatrix::<f64, 8, 8>::zeros();
    let across = across(&shape.normal);
    let place = across * about.matrix.fixed_view::<3, 3>(0, 0) * across;
    matrix.fixed_view_mut::<3, 3>(0, 0).copy_from(&place);
    let lean = across * face.covariance.rotation() * across;
    matrix.fixed_view_mut::<3, 3>(3, 3).copy_from(&lean);
    matrix[(6, 6)] = about.matrix[(6, 6)];
    Covariance { at: shape.centre, matrix }
}

/// Projector on the plane perpendicular to a direction.
fn across(d: &Direction) -> nalgebra::Matrix3<f64> {
    nalgebra::Matrix3::identity() - d.into_inner() * d.transpose()
}

/// Fewest and most sectors in which the rim is looked for, and their width in resolutions.
const SECTORS: (usize, usize) = (16, 72);
const SECTOR_WIDTH: f64 = 1.5;
/// Rounds of moving the centre to the circle found.
const RIM_ROUNDS: usize = 12;
/// The centre stands still when it moves less than this many resolutions.
const RIM_SETTLED: f64 = 0.01;
/// Least arc of a rim: two thirds of a turn, since a rim seen on one side is shifted by its bias.
const RIM_ARC: f64 = 4.0;
/// Fewest points of a wall.
const WALL_POINTS: usize = 30;
/// Least arc of a wall that gives the axis: 120 degrees.
const WALL_ARC: f64 = 2.09;
/// Wall points begin this many resolutions under the face, clear of the rounded edge.
const WALL_MARGIN: f64 = 1.5;
/// Largest |cosine| between a wall point's normal and the face's: 30 degrees off square.
const WALL_SLANT: f64 = 0.5;
/// Largest lean of a hole in its face, 15 degrees; more is not the wall of a bolt hole.
const LARGEST_LEAN: f64 = 0.26;
