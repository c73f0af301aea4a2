"""Formulas as MathML, which a browser draws by itself: no script and no network."""

from docutils import nodes
from docutils.utils.math import latex2mathml


def _inline(writer, node):
    writer.body.append(latex2mathml.tex2mathml(node.astext()))
    raise nodes.SkipNode


def _block(writer, node):
    writer.body.append(latex2mathml.tex2mathml(node.astext(), as_block=True))
    raise nodes.SkipNode


def setup(app):
    """Register the renderer with Sphinx."""
    app.add_html_math_renderer(
        "mathml", inline_renderers=(_inline, None), block_renderers=(_block, None)
    )
    return {"parallel_read_safe": True, "parallel_write_safe": True}
