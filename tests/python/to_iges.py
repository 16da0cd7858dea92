"""Writes a STEP part as IGES, solids as such: to_iges.py part.step part.igs"""

import sys

from OCP.IFSelect import IFSelect_RetDone
from OCP.IGESControl import IGESControl_Controller, IGESControl_Writer
from OCP.STEPControl import STEPControl_Reader

step, iges = sys.argv[1:]
reader = STEPControl_Reader()
assert reader.ReadFile(step) == IFSelect_RetDone
reader.TransferRoots()
IGESControl_Controller.Init_s()
writer = IGESControl_Writer("MM", 1)
assert writer.AddShape(reader.OneShape())
writer.ComputeModel()
assert writer.Write(iges)
