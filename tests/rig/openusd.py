"""The same points through OpenUSD's camera: what our lens is checked against, in tests and in the benchmark.

Source: OpenUSD, schema docs of UsdGeomCamera: the camera looks along -Z with +Y up, apertures and focal length in
tenths of the scene's unit. In a scene of centimetres with Z up, the tenths are millimetres.
"""

import numpy as np
from pxr import Gf, Usd, UsdGeom

from sequencer.rig.lens import Lens
from sequencer.rig.pose import Pose


def by_openusd(here: Pose, what: Lens, points: np.ndarray) -> np.ndarray:
    """Return frame coordinates by the frustum of a camera on a stage of OpenUSD. Shape: (N, 3) to (N, 2)."""
    stage = Usd.Stage.CreateInMemory()
    UsdGeom.SetStageUpAxis(stage, UsdGeom.Tokens.z)
    UsdGeom.SetStageMetersPerUnit(stage, 0.01)
    camera = UsdGeom.Camera.Define(stage, "/camera")
    camera.CreateHorizontalApertureAttr(what.sensor_mm[0])
    camera.CreateVerticalApertureAttr(what.sensor_mm[1])
    camera.CreateFocalLengthAttr(what.focal_mm)
    camera.CreateClippingRangeAttr(Gf.Vec2f(1, 1e5))
    right, ahead, up = here.matrix.T
    rows = [[*right, 0], [*up, 0], [*-ahead, 0], [*(here.position * 100), 1]]  # row vectors
    camera.AddTransformOp().Set(Gf.Matrix4d(*[float(number) for row in rows for number in row]))
    frustum = camera.GetCamera(Usd.TimeCode.Default()).frustum
    both = frustum.ComputeViewMatrix() * frustum.ComputeProjectionMatrix()
    flat = [both.Transform(Gf.Vec3d(*[float(number) * 100 for number in point])) for point in points]
    return np.array([[point[0], point[1]] for point in flat])
