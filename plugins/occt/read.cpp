#include "read.hpp"

#include <BRepBuilderAPI_MakeSolid.hxx>
#include <BRepBuilderAPI_Sewing.hxx>
#include <BRepLib.hxx>
#include <BRep_Builder.hxx>
#include <HeaderSection_FileSchema.hxx>
#include <IGESControl_Reader.hxx>
#include <Interface_Static.hxx>
#include <STEPControl_Reader.hxx>
#include <ShapeCustom.hxx>
#include <StepData_StepModel.hxx>
#include <TCollection_HAsciiString.hxx>
#include <TopExp_Explorer.hxx>
#include <TopoDS.hxx>
#include <TopoDS_Compound.hxx>
#include <TopoDS_Solid.hxx>

namespace {

// Largest gap between faces that are given without a solid, mm: what programs that write IGES leave.
constexpr double gap = 1e-3;

Refused unreadable(const std::string &what)
{
    return {FITW_PLUGIN_E_INPUT, what + "; export the part anew as a solid body, or as a mesh (STL, PLY or OBJ)"};
}

// AP203, AP214 or AP242, else the schema's own name (ISO 10303-203, -214, -242).
std::string schema_of(const STEPControl_Reader &reader)
{
    const Handle(StepData_StepModel) model = reader.StepModel();
    if (model.IsNull() || !model->HasHeaderEntity(STANDARD_TYPE(HeaderSection_FileSchema))) return "STEP";
    const auto header = Handle(HeaderSection_FileSchema)::DownCast(
        model->HeaderEntity(STANDARD_TYPE(HeaderSection_FileSchema)));
    if (header.IsNull() || header->NbSchemaIdentifiers() < 1) return "STEP";
    const std::string name = header->SchemaIdentifiersValue(1)->ToCString();
    const std::pair<const char *, const char *> known[] = {{"CONFIG_CONTROL_DESIGN", "AP203"}, {"AP203", "AP203"},
        {"AUTOMOTIVE_DESIGN", "AP214"}, {"AP214", "AP214"}, {"AP242", "AP242"}};
    for (const auto &[start, shorter] : known)
        if (name.rfind(start, 0) == 0) return shorter;
    return name;
}

template <class Reader> TopoDS_Shape transfer(Reader &reader, const Call &call, const char *what)
{
    if (reader.ReadFile(call.path().c_str()) != IFSelect_RetDone)
        throw unreadable(std::string("a file that is no whole ") + what + " file");
    call.check();
    const Handle(Progress) progress = new Progress(call, 0.2, 0.5);
    reader.TransferRoots(progress->Start());
    call.check();
    TopoDS_Shape shape = reader.NbShapes() > 0 ? reader.OneShape() : TopoDS_Shape();
    if (shape.IsNull()) throw unreadable(std::string("a ") + what + " file without a shape");
    return shape;
}

// Solids of faces that lie side by side.
TopoDS_Shape sewn(const TopoDS_Shape &faces, const Call &call)
{
    BRepBuilderAPI_Sewing sewing(gap);
    sewing.Add(faces);
    sewing.Perform();
    TopoDS_Compound all;
    BRep_Builder builder;
    builder.MakeCompound(all);
    int count = 0;
    for (TopExp_Explorer shell(sewing.SewedShape(), TopAbs_SHELL); shell.More(); shell.Next(), ++count) {
        call.check();
        TopoDS_Solid solid = BRepBuilderAPI_MakeSolid(TopoDS::Shell(shell.Current())).Solid();
        BRepLib::OrientClosedSolid(solid);
        builder.Add(all, solid);
    }
    if (count == 0) throw unreadable("a file without a solid");
    call.note("the file holds faces without a solid: they were sewn where they are within 0.001 mm");
    return all;
}

} // namespace

Contents read(const Call &call, Format format)
{
    Contents found;
    if (format == Format::step) {
        STEPControl_Reader reader;
        Interface_Static::SetCVal("xstep.cascade.unit", "MM");
        found.shape = transfer(reader, call, "STEP");
        found.schema = schema_of(reader);
    } else {
        IGESControl_Reader reader;
        Interface_Static::SetCVal("xstep.cascade.unit", "MM");
        // IGES has swept surfaces where others have cylinders and cones.
        found.shape = ShapeCustom::SweptToElementary(transfer(reader, call, "IGES"));
        found.schema = "IGES";
    }
    if (!TopExp_Explorer(found.shape, TopAbs_SOLID).More()) found.shape = sewn(found.shape, call);
    return found;
}
