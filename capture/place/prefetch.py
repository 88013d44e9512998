"""How does a search have what it will look at next fetched before it gets there?

A node that is brought nearer is looked at some steps later, and its edges lie anywhere in
memory. Asking the processor for them at once hides most of the waiting on a large network.
"""

from __future__ import annotations

from typing import Any

from llvmlite import ir  # type: ignore[import-untyped]
from numba import types
from numba.core import cgutils
from numba.extending import intrinsic
from numba.np import arrayobj

_BYTES = ir.IntType(8).as_pointer()
_NUMBER = ir.IntType(32)
#: to be read, kept in all caches, data
_HINTS = (0, 3, 1)


def _fetch_soon(_typing: Any, array: Any, _index: Any) -> Any:
    """Ask for one entry of an array, which need not exist; changes nothing but the time taken."""
    lay: Any = arrayobj.make_array
    declare: Any = cgutils.get_or_insert_function

    def generate(context: Any, builder: Any, signature: Any, given: Any) -> Any:
        data = lay(signature.args[0])(context, builder, given[0]).data
        place = builder.bitcast(builder.gep(data, [given[1]]), _BYTES)
        kind = ir.FunctionType(ir.VoidType(), [_BYTES, _NUMBER, _NUMBER, _NUMBER])
        asked = declare(builder.module, kind, "llvm.prefetch.p0i8")
        builder.call(asked, [place, *(_NUMBER(hint) for hint in _HINTS)])
        return context.get_dummy_value()

    return types.void(array, types.uint64), generate


#: ask for the entry of an array at a number, in compiled code
fetch_soon: Any = intrinsic(_fetch_soon)
