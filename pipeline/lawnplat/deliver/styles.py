"""Looks as style documents: SLD 1.0.0 (OGC) and the QML that open viewers read."""

from __future__ import annotations

from xml.etree.ElementTree import Element, SubElement, tostring

from lawnplat.deliver.looks import LayerLook, Look

_PIXELS_PER_MM = 96 / 25.4
"""SLD 1.0.0 measures in pixels; CSS has 96 to the inch."""
_SLD = "http://www.opengis.net/sld"
_OGC = "http://www.opengis.net/ogc"
_SYMBOL_OF = {"Point": "marker", "LineString": "line", "Polygon": "fill"}
_QML_SHAPES = {"cross": "cross2"}
_SLD_SHAPES = {"cross": "x", "diamond": "square"}
"""SLD's well-known marks have no diamond: it is a square turned by 45 degrees."""


def sld(look: LayerLook, geometry: str) -> str:
    """Return a layer's style as an SLD 1.0.0 document.

    Parameters
    ----------
    look : LayerLook
        The layer's looks.
    geometry : str
        The layer's geometry type in the contract.
    """
    root = Element("StyledLayerDescriptor", {"version": "1.0.0", "xmlns": _SLD, "xmlns:ogc": _OGC})
    named = SubElement(root, "NamedLayer")
    _leaf(named, "Name", look.layer)
    style = SubElement(named, "UserStyle")
    _leaf(style, "Name", look.layer)
    rules = SubElement(style, "FeatureTypeStyle")
    for value, each in look.looks:
        rule = SubElement(rules, "Rule")
        _leaf(rule, "Title", each.label)
        if value:
            test = SubElement(SubElement(rule, "ogc:Filter"), "ogc:PropertyIsEqualTo")
            _leaf(test, "ogc:PropertyName", look.column)
            _leaf(test, "ogc:Literal", value)
        elif look.column:
            SubElement(rule, "ElseFilter")
        _sld_symbol(rule, each, _SYMBOL_OF[geometry.removeprefix("Multi")])
    return tostring(root, encoding="unicode")


def _sld_symbol(rule: Element, look: Look, symbol: str) -> None:
    if symbol == "marker":
        graphic = SubElement(SubElement(rule, "PointSymbolizer"), "Graphic")
        mark = SubElement(graphic, "Mark")
        _leaf(mark, "WellKnownName", _SLD_SHAPES.get(look.shape, look.shape))
        _sld_paint(mark, look)
        _leaf(graphic, "Size", _pixels(look.size_mm))
        if look.shape == "diamond":
            _leaf(graphic, "Rotation", "45")
        return
    _sld_paint(
        SubElement(rule, "LineSymbolizer" if symbol == "line" else "PolygonSymbolizer"), look
    )


def _sld_paint(parent: Element, look: Look) -> None:
    if look.fill:
        fill = SubElement(parent, "Fill")
        _css(fill, "fill", look.fill)
        _css(fill, "fill-opacity", f"{look.fill_opacity:g}")
    if look.stroke:
        stroke = SubElement(parent, "Stroke")
        _css(stroke, "stroke", look.stroke)
        _css(stroke, "stroke-width", _pixels(look.width_mm))
        if look.dash:
            _css(stroke, "stroke-dasharray", " ".join(_pixels(each) for each in look.dash))


def qml(look: LayerLook, geometry: str) -> str:
    """Return a layer's style as a QML document: one symbol, or one for each value of a column.

    Parameters
    ----------
    look : LayerLook
        The layer's looks.
    geometry : str
        The layer's geometry type in the contract.
    """
    root = Element("qgis", {"version": "3.22.0", "styleCategories": "Symbology"})
    kind = "categorizedSymbol" if look.column else "singleSymbol"
    renderer = SubElement(root, "renderer-v2", {"type": kind, "enableorderby": "0"})
    if look.column:
        renderer.set("attr", look.column)
        categories = SubElement(renderer, "categories")
        for index, (value, each) in enumerate(look.looks):
            attributes = {"symbol": str(index), "value": value, "label": each.label}
            SubElement(categories, "category", {**attributes, "render": "true"})
    symbols = SubElement(renderer, "symbols")
    for index, (_, each) in enumerate(look.looks):
        _qml_symbol(symbols, str(index), each, _SYMBOL_OF[geometry.removeprefix("Multi")])
    return "<!DOCTYPE qgis PUBLIC 'http://mrcc.com/qgis.dtd' 'SYSTEM'>\n" + tostring(
        root, encoding="unicode"
    )


def _qml_symbol(symbols: Element, name: str, look: Look, symbol: str) -> None:
    node = SubElement(symbols, "symbol", {"name": name, "type": symbol, "alpha": "1"})
    kind = {"marker": "SimpleMarker", "line": "SimpleLine", "fill": "SimpleFill"}[symbol]
    layer = SubElement(node, "layer", {"class": kind, "enabled": "1", "pass": "0", "locked": "0"})
    options = SubElement(layer, "Option", {"type": "Map"})
    settings = {
        "marker": _qml_marker,
        "line": _qml_line,
        "fill": _qml_fill,
    }[symbol](look)
    for key, value in settings:
        SubElement(options, "Option", {"name": key, "value": value, "type": "QString"})


def _qml_marker(look: Look) -> tuple[tuple[str, str], ...]:
    return (
        ("name", _QML_SHAPES.get(look.shape, look.shape)),
        ("color", _rgba(look.fill, look.fill_opacity)),
        ("outline_color", _rgba(look.stroke)),
        ("outline_style", "solid" if look.stroke else "no"),
        ("outline_width", f"{look.width_mm:g}"),
        ("size", f"{look.size_mm:g}"),
        ("size_unit", "MM"),
    )


def _qml_line(look: Look) -> tuple[tuple[str, str], ...]:
    return (
        ("line_color", _rgba(look.stroke)),
        ("line_width", f"{look.width_mm:g}"),
        ("line_width_unit", "MM"),
        ("line_style", "solid"),
        ("use_custom_dash", "1" if look.dash else "0"),
        ("customdash", ";".join(f"{each:g}" for each in look.dash)),
        ("customdash_unit", "MM"),
    )


def _qml_fill(look: Look) -> tuple[tuple[str, str], ...]:
    outline = ("dash" if look.dash else "solid") if look.stroke else "no"
    return (
        ("color", _rgba(look.fill, look.fill_opacity)),
        ("style", "solid" if look.fill else "no"),
        ("outline_color", _rgba(look.stroke)),
        ("outline_style", outline),
        ("outline_width", f"{look.width_mm:g}"),
        ("outline_width_unit", "MM"),
    )


def _rgba(colour: str, opacity: float = 1.0) -> str:
    red, green, blue = (int(colour[i : i + 2], 16) for i in (1, 3, 5)) if colour else (0, 0, 0)
    return f"{red},{green},{blue},{round(255 * opacity) if colour else 0}"


def _pixels(millimetres: float) -> str:
    return f"{millimetres * _PIXELS_PER_MM:.2f}"


def _leaf(parent: Element, tag: str, text: str) -> None:
    SubElement(parent, tag).text = text


def _css(parent: Element, name: str, value: str) -> None:
    SubElement(parent, "CssParameter", {"name": name}).text = value
