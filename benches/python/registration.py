"""Joins two clouds with general-purpose libraries: small_gicp and Open3D, on two threads.

    python registration.py FOLDER SPACING NOISE

FOLDER holds raw little-endian 64-bit floats: `to.points`, `from.points` (three a point, mm) and
`start.pose` (4 x 4, rows, to_from_from). SPACING and NOISE are those of the points, mm. Printed is a JSON
object: task ("fine", from the start; "no start") by library and method: seconds, normals and search
structures included, and the pose found.
"""

import json
import os
import sys
import time

os.environ["OMP_NUM_THREADS"] = "2"

import numpy as np
import open3d
import small_gicp

registration = open3d.pipelines.registration


def main():
    folder, spacing, noise = sys.argv[1], float(sys.argv[2]), float(sys.argv[3])
    to, source = (
        np.fromfile(f"{folder}/{name}.points", "<f8").reshape(-1, 3) for name in ["to", "from"]
    )
    start = np.fromfile(f"{folder}/start.pose", "<f8").reshape(4, 4)
    out = {"fine": {}, "no start": {}}

    def put(task, method, ask):
        begin = time.perf_counter()
        pose = ask()
        seconds = time.perf_counter() - begin
        out[task][method] = {"seconds": seconds, "pose": np.asarray(pose).ravel().tolist()}

    def small(kind):
        a, b = small_gicp.PointCloud(to), small_gicp.PointCloud(source)
        tree = small_gicp.KdTree(a, num_threads=2)
        small_gicp.estimate_normals_covariances(a, tree, num_neighbors=15, num_threads=2)
        if kind != "PLANE_ICP":
            own = small_gicp.KdTree(b, num_threads=2)
            small_gicp.estimate_normals_covariances(b, own, num_neighbors=15, num_threads=2)
        found = small_gicp.align(
            a,
            b,
            tree,
            init_T_target_source=start,
            registration_type=kind,
            max_correspondence_distance=3 * spacing,
            num_threads=2,
        )
        return found.T_target_source

    def cloud(points):
        made = open3d.geometry.PointCloud(open3d.utility.Vector3dVector(points))
        return made

    def refine(a, b, pose, reach):
        criteria = registration.ICPConvergenceCriteria(1e-9, 1e-9, 100)
        loss = registration.TukeyLoss(k=max(6 * noise, 0.1 * spacing))
        point_to_plane = registration.TransformationEstimationPointToPlane(loss)
        return registration.registration_icp(b, a, reach, pose, point_to_plane, criteria)

    def open3d_fine():
        a, b = cloud(to), cloud(source)
        a.estimate_normals(open3d.geometry.KDTreeSearchParamKNN(15))
        coarse = refine(a, b, start, 4 * spacing).transformation
        return refine(a, b, coarse, spacing).transformation

    def features(points):
        thin = cloud(points).voxel_down_sample(6 * spacing)
        thin.estimate_normals(open3d.geometry.KDTreeSearchParamHybrid(12 * spacing, 30))
        search = open3d.geometry.KDTreeSearchParamHybrid(30 * spacing, 100)
        return thin, registration.compute_fpfh_feature(thin, search)

    def finished(a, b, found):
        whole, other = cloud(to), cloud(source)
        whole.estimate_normals(open3d.geometry.KDTreeSearchParamKNN(15))
        pose = refine_thin(a, b, found.transformation)
        pose = refine(whole, other, pose, 3 * spacing).transformation
        return refine(whole, other, pose, spacing).transformation

    def refine_thin(a, b, pose):
        criteria = registration.ICPConvergenceCriteria(1e-6, 1e-6, 50)
        plane = registration.TransformationEstimationPointToPlane()
        return registration.registration_icp(b, a, 9 * spacing, pose, plane, criteria).transformation

    def by_ransac():
        (a, fa), (b, fb) = features(to), features(source)
        reach = 9 * spacing
        found = registration.registration_ransac_based_on_feature_matching(
            b,
            a,
            fb,
            fa,
            True,
            reach,
            registration.TransformationEstimationPointToPoint(False),
            3,
            [
                registration.CorrespondenceCheckerBasedOnEdgeLength(0.9),
                registration.CorrespondenceCheckerBasedOnDistance(reach),
            ],
            registration.RANSACConvergenceCriteria(200_000, 0.999),
        )
        return finished(a, b, found)

    def fast_global():
        (a, fa), (b, fb) = features(to), features(source)
        option = registration.FastGlobalRegistrationOption(maximum_correspondence_distance=3 * spacing)
        found = registration.registration_fgr_based_on_feature_matching(b, a, fb, fa, option)
        return finished(a, b, found)

    put("fine", "small_gicp, plane", lambda: small("PLANE_ICP"))
    put("fine", "small_gicp, GICP", lambda: small("GICP"))
    put("fine", "Open3D", open3d_fine)
    put("no start", "Open3D, RANSAC", by_ransac)
    put("no start", "Open3D, fast global", fast_global)
    print(json.dumps(out))


main()
