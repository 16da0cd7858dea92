//! A scan: positions with optional triangles and normals, immutable; what follows from them is computed once on demand.

mod cloud;
#[cfg(test)]
mod derived_tests;
mod e57;
mod glb;
mod graph;
mod heal;
mod index;
mod lazy;
mod length_error;
mod lines;
mod noise;
#[cfg(test)]
mod noise_tests;
mod normals;
mod obj;
mod ply;
mod read;
mod source;
mod stl;
mod storage;
#[cfg(test)]
pub(crate) mod testing;
mod text;
mod threemf;
mod topology;
mod weld;
pub(crate) mod write;

pub use index::PointIndex;
pub use length_error::LengthError;
pub use read::{RawMesh, ReadOptions, read_mesh};
pub use storage::SharedSlice;
pub use topology::EdgeCensus;
pub use write::{Column, Precision, write_ply, write_stl_binary};

use std::ops::Range;
use std::path::Path;
use std::sync::Arc;

use rayon::prelude::*;

use crate::context::Context;
use crate::error::{Error, Result};
use crate::primitive::{Point3, Pose, Vec3};
use crate::units::LengthUnit;
use cloud::Cloud;
use lazy::Lazy;
use storage::Storage;
use topology::Topology;

/// A scan in its scanner's coordinates, mm. Cheap to clone; safe to use from any thread.
#[derive(Clone)]
pub struct Scan(Arc<Inner>);

struct Inner {
    points: Storage<Point3>,
    given_normals: Option<Vec<Vec3>>,
    notes: Vec<String>,
    mesh: Arc<Mesh>,
    index: Lazy<PointIndex>,
    cloud: Lazy<Cloud>,
    normals: Lazy<Vec<Vec3>>,
    noise: Lazy<f64>,
    resolution: Lazy<f64>,
}

/// What a rigid motion leaves as it is, shared by a scan and its moved copies.
struct Mesh {
    triangles: Storage<[u32; 3]>,
    topology: Lazy<Topology>,
    loops: Lazy<Vec<Vec<u32>>>,
}

impl Scan {
    /// Mesh of welded corners: `triangles` index `points` (mm), counter-clockwise seen from outside.
    ///
    /// # Errors
    /// [`Error::Argument`] for no points, a coordinate that is not finite (or over 1e15 mm) or an index out
    /// of range.
    pub fn from_mesh(points: Vec<Point3>, triangles: Vec<[u32; 3]>) -> Result<Self> {
        Self::from_parts(points.into(), triangles.into(), None, Vec::new())
    }

    /// Mesh, or bare points where `triangles` is `None`, in memory that its owner keeps: nothing is
    /// copied but the normals (brought to unit length). The slices must be the same at every call of
    /// `as_ref` and must not change while the scan lives.
    ///
    /// # Errors
    /// As [`Scan::from_points`].
    pub fn from_shared(
        points: SharedSlice<Point3>,
        triangles: Option<SharedSlice<[u32; 3]>>,
        normals: Option<Vec<Vec3>>,
    ) -> Result<Self> {
        let triangles = triangles.map_or_else(|| Vec::new().into(), Storage::Shared);
        Self::from_parts(Storage::Shared(points), triangles, normals, Vec::new())
    }

    /// Bare points (mm) with their outward normals if known; the normals are brought to unit length.
    ///
    /// # Errors
    /// As [`Scan::from_mesh`]; [`Error::Argument`] if the normals' count differs or one is not finite.
    pub fn from_points(points: Vec<Point3>, normals: Option<Vec<Vec3>>) -> Result<Self> {
        Self::from_parts(points.into(), Vec::new().into(), normals, Vec::new())
    }

    /// Mesh or bare points as a file held them.
    ///
    /// # Errors
    /// As [`Scan::from_points`].
    pub fn from_raw(raw: RawMesh) -> Result<Self> {
        Self::from_parts(raw.points.into(), raw.triangles.into(), raw.normals, raw.notes)
    }

    /// Reads STL, PLY, OBJ, GLB, 3MF, E57 or text points by the file's extension and content.
    ///
    /// # Errors
    /// [`Error::Io`], [`Error::Format`], [`Error::UnknownFormat`], [`Error::Unsupported`], [`Error::Limit`].
    pub fn read(path: impl AsRef<Path>, unit: LengthUnit) -> Result<Self> {
        let raw = read_mesh(path, unit, &ReadOptions::default())?;
        Ok(Self::build(raw.points.into(), raw.triangles.into(), raw.normals, raw.notes))
    }

    /// As [`Scan::read`], with options, on the context's threads; stops when it is cancelled.
    ///
    /// # Errors
    /// As [`Scan::read`]; [`Error::Cancelled`].
    pub fn read_with(
        path: impl AsRef<Path>,
        unit: LengthUnit,
        options: &ReadOptions,
        context: &Context,
    ) -> Result<Self> {
        let path = path.as_ref();
        context.report("reading", 0.0)?;
        let raw = context.run(|| read::read_file(path, unit, options, Some(context)))?;
        context.report("reading", 1.0)?;
        Ok(Self::build(raw.points.into(), raw.triangles.into(), raw.normals, raw.notes))
    }

    /// Positions, mm.
    #[must_use]
    pub fn points(&self) -> &[Point3] {
        &self.0.points
    }

    /// Triangles as corner ids; empty for a point cloud.
    #[must_use]
    pub fn triangles(&self) -> &[[u32; 3]] {
        &self.0.mesh.triangles
    }

    /// Whether the scan has triangles.
    #[must_use]
    pub fn is_mesh(&self) -> bool {
        !self.triangles().is_empty()
    }

    /// What was dropped, ignored or healed when the scan was read, one sentence each.
    #[must_use]
    pub fn notes(&self) -> &[String] {
        &self.0.notes
    }

    /// Unit normal of each point: given, or area-weighted from the triangles, or from the
    /// neighbours of a bare point (then its sign is only consistent within a connected piece, which faces
    /// outward at its point farthest from its centre). Zero where undefined.
    #[must_use]
    pub fn normals(&self) -> &[Vec3] {
        if let Some(given) = &self.0.given_normals {
            return given;
        }
        self.0.normals.get(|| match self.is_mesh() {
            // Who asks for the normals of a mesh asks for its edges next: both begin with a serial
            // pass over the triangles, so they cost little more than one at the same time.
            true => {
                rayon::join(
                    || normals::of_mesh(self.points(), self.triangles()),
                    || self.topology(),
                )
                .0
            }
            false => self.cloud().oriented_normals(self.points()),
        })
    }

    /// Neighbours of a point, ascending: across edges of the mesh, or the nearest twelve of a cloud.
    ///
    /// # Panics
    /// If `id` is not the id of a point.
    #[must_use]
    pub fn neighbours(&self, id: u32) -> &[u32] {
        match self.is_mesh() {
            true => self.topology().neighbours.of(id),
            false => self.cloud().neighbours.of(id),
        }
    }

    /// Whether a point lies on the scan's border (an edge with one triangle; for a cloud, a
    /// neighbourhood with a gap of more than 120 degrees).
    ///
    /// # Panics
    /// If `id` is not the id of a point.
    #[must_use]
    pub fn is_border(&self, id: u32) -> bool {
        match self.is_mesh() {
            true => self.topology().border[id as usize],
            false => self.cloud().border[id as usize],
        }
    }

    /// Closed loops of border points of a mesh, each from its lowest id in order with the surface on its
    /// left; none for a cloud. Loops that touch in a point are kept apart.
    #[must_use]
    pub fn boundary_loops(&self) -> &[Vec<u32>] {
        self.0.mesh.loops.get(|| self.topology().loops())
    }

    /// Number of edges of a mesh that do not join two triangles properly; all zero for a cloud.
    #[must_use]
    pub fn edge_census(&self) -> EdgeCensus {
        self.topology().census
    }

    /// Open edges of a mesh in the direction of their triangle, ascending.
    #[must_use]
    pub fn open_edges(&self) -> &[[u32; 2]] {
        &self.topology().open
    }

    /// Nearest point of the scan and its distance, mm. A query that is not finite is answered with point 0
    /// at an infinite distance.
    #[must_use]
    pub fn nearest(&self, p: &Point3) -> (u32, f64) {
        self.index().nearest(p).unwrap_or((0, f64::INFINITY))
    }

    /// The same up to a distance (mm), which is quicker where most points are farther; `None` beyond.
    #[must_use]
    pub fn nearest_within(&self, p: &Point3, distance: f64) -> Option<(u32, f64)> {
        self.index().nearest_within(p, distance)
    }

    /// The nearest `count` points of the scan with their distances, mm, nearest first.
    #[must_use]
    pub fn k_nearest(&self, p: &Point3, count: usize) -> Vec<(u32, f64)> {
        self.index().k_nearest(p, count)
    }

    /// Ids of all points within a distance (mm), ascending.
    #[must_use]
    pub fn within(&self, p: &Point3, distance: f64) -> Vec<u32> {
        self.index().within(p, distance)
    }

    /// Spatial index of the points.
    #[must_use]
    pub fn index(&self) -> &PointIndex {
        self.0.index.get(|| PointIndex::new(self.points()))
    }

    /// Standard deviation of the points normal to the surface, mm, estimated from the scan alone: of the
    /// white part of the noise, where the scan is smooth. Zero for a scan too small to tell (fewer than
    /// a dozen patches of 13 points).
    #[must_use]
    pub fn noise(&self) -> f64 {
        *self.0.noise.get(|| {
            let sample = noise::sample(self.points().len());
            noise::estimate(&sample, |id| self.patch(id, noise::LARGEST))
        })
    }

    /// Median spacing of neighbouring points, mm: the median edge of a mesh, and what it would be for a
    /// cloud. Zero for fewer than two different points.
    #[must_use]
    pub fn resolution(&self) -> f64 {
        *self.0.resolution.get(|| {
            let points = self.points();
            if self.is_mesh() {
                return self.median_edge();
            }
            cloud::spacing(points, self.index(), &noise::sample(points.len()))
        })
    }

    /// The same scan moved by a rigid motion.
    #[must_use]
    pub fn transformed(&self, pose: &Pose) -> Self {
        let points: Vec<Point3> = self.points().par_iter().map(|p| pose * p).collect();
        let turned = |n: &Vec<Vec3>| n.iter().map(|n| pose.rotation * n).collect();
        let normals = self.0.given_normals.as_ref().map(turned);
        Scan(Arc::new(Inner::new(
            points.into(),
            normals,
            self.0.notes.clone(),
            self.0.mesh.clone(),
        )))
    }

    fn from_parts(
        points: Storage<Point3>,
        triangles: Storage<[u32; 3]>,
        normals: Option<Vec<Vec3>>,
        notes: Vec<String>,
    ) -> Result<Self> {
        check_points(&points)?;
        let count = points.len();
        let outside = |chunk: &[[u32; 3]]| {
            chunk.as_flattened().iter().copied().find(|id| *id as usize >= count)
        };
        if let Some(id) = triangles.par_chunks(CHUNK).find_map_first(outside) {
            return Err(Error::argument("triangles", id, format!("ids below {count}")));
        }
        let normals = normals.map(|n| unit_normals(n, count)).transpose()?;
        Ok(Self::build(points, triangles, normals, notes))
    }

    /// Scan of parts that were checked.
    fn build(
        points: Storage<Point3>,
        triangles: Storage<[u32; 3]>,
        normals: Option<Vec<Vec3>>,
        notes: Vec<String>,
    ) -> Self {
        let mesh = Mesh { triangles, topology: Lazy::new(), loops: Lazy::new() };
        Scan(Arc::new(Inner::new(points, normals, notes, Arc::new(mesh))))
    }

    fn topology(&self) -> &Topology {
        self.0.mesh.topology.get(|| Topology::new(self.points().len(), self.triangles()))
    }

    fn cloud(&self) -> &Cloud {
        self.0.cloud.get(|| Cloud::new(self.points(), self.index()))
    }

    /// The nearest points of one point: along the surface of a mesh, in space for a cloud.
    fn patch(&self, id: u32, count: usize) -> Vec<Point3> {
        let centre = &self.points()[id as usize];
        if !self.is_mesh() {
            let near = self.k_nearest(centre, count);
            return near.into_iter().map(|(i, _)| self.points()[i as usize]).collect();
        }
        let mut found = vec![id];
        let (mut before, mut ring) = (0..0, 0..1);
        // Twice as many, since the rings around a point are not round.
        while found.len() < 2 * count && !ring.is_empty() {
            // Neighbours of a ring lie in it, in the one before or in the next.
            let mut next: Vec<u32> =
                found[ring.clone()].iter().flat_map(|&i| self.neighbours(i)).copied().collect();
            next.sort_unstable();
            next.dedup();
            let met = |i: &u32| {
                let of = |range: &Range<usize>| found[range.clone()].binary_search(i).is_ok();
                of(&ring) || of(&before)
            };
            next.retain(|i| !met(i));
            (before, ring) = (ring, found.len()..found.len() + next.len());
            found.append(&mut next);
        }
        let square = |i: u32| (self.points()[i as usize] - centre).norm_squared();
        let mut near: Vec<(f64, u32)> = found.into_iter().map(|i| (square(i), i)).collect();
        near.sort_unstable_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        near.into_iter().take(count).map(|(_, i)| self.points()[i as usize]).collect()
    }

    fn median_edge(&self) -> f64 {
        let length =
            |id: u32, next: u32| (self.points()[id as usize] - self.points()[next as usize]).norm();
        let lengths = noise::sample(self.points().len())
            .into_iter()
            .flat_map(|id| self.neighbours(id).iter().map(move |&next| length(id, next)))
            .collect();
        noise::median(lengths).unwrap_or(0.0)
    }
}

impl Inner {
    fn new(
        points: Storage<Point3>,
        given_normals: Option<Vec<Vec3>>,
        notes: Vec<String>,
        mesh: Arc<Mesh>,
    ) -> Self {
        Inner {
            points,
            given_normals,
            notes,
            mesh,
            index: Lazy::new(),
            cloud: Lazy::new(),
            normals: Lazy::new(),
            noise: Lazy::new(),
            resolution: Lazy::new(),
        }
    }
}

impl std::fmt::Debug for Scan {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Scan")
            .field("points", &self.points().len())
            .field("triangles", &self.triangles().len())
            .finish_non_exhaustive()
    }
}

fn check_points(points: &[Point3]) -> Result<()> {
    if points.is_empty() || points.len() > u32::MAX as usize {
        return Err(Error::argument("points", points.len(), "1 to 4294967295"));
    }
    if points.par_chunks(CHUNK).all(|chunk| chunk.iter().all(source::valid)) {
        return Ok(());
    }
    let allowed = format!("finite coordinates up to {:e} mm", source::MAX_COORDINATE);
    let first = points.iter().enumerate().find(|(_, p)| !source::valid(p));
    first.map_or(Ok(()), |(i, p)| Err(Error::argument(format!("point {i}"), p, allowed)))
}

fn unit_normals(mut normals: Vec<Vec3>, points: usize) -> Result<Vec<Vec3>> {
    if normals.len() != points {
        return Err(Error::argument("normals", normals.len(), format!("{points}, one a point")));
    }
    for (i, n) in normals.iter_mut().enumerate() {
        if !n.iter().all(|v| v.is_finite()) {
            return Err(Error::argument(format!("normal {i}"), *n, "finite numbers"));
        }
        *n = crate::primitive::unit(*n).map_or_else(Vec3::zeros, |d| d.into_inner());
    }
    Ok(normals)
}

const CHUNK: usize = 1 << 14;
