"""Reads a STEP file with the Open CASCADE kernel and writes what arrived as another.

    python step_rewrite.py SCHEMA UNIT FROM TO [FROM TO]...

SCHEMA: AP203, AP214IS or AP242DIS. UNIT: MM, INCH or M.
"""

import sys

from OCP.IFSelect import IFSelect_ReturnStatus
from OCP.Interface import Interface_Static
from OCP.STEPCAFControl import STEPCAFControl_Reader, STEPCAFControl_Writer
from OCP.STEPControl import STEPControl_StepModelType
from OCP.TCollection import TCollection_ExtendedString
from OCP.TDocStd import TDocStd_Document


def rewrite(source, target):
    document = TDocStd_Document(TCollection_ExtendedString("XmlOcaf"))
    reader, writer = STEPCAFControl_Reader(), STEPCAFControl_Writer()
    for side in (reader, writer):
        for mode in (side.SetNameMode, side.SetColorMode, side.SetLayerMode, side.SetPropsMode):
            mode(True)
    done = IFSelect_ReturnStatus.IFSelect_RetDone
    if reader.ReadFile(source) != done or not reader.Transfer(document):
        raise SystemExit(f"{source} was not read")
    writer.Transfer(document, STEPControl_StepModelType.STEPControl_AsIs)
    if writer.Write(target) != done:
        raise SystemExit(f"{target} was not written")


if __name__ == "__main__":
    # The kernel takes these when its first writer is made.
    STEPCAFControl_Writer()
    Interface_Static.SetCVal_s("write.step.schema", sys.argv[1])
    Interface_Static.SetCVal_s("write.step.unit", sys.argv[2])
    for source, target in zip(sys.argv[3::2], sys.argv[4::2]):
        rewrite(source, target)
