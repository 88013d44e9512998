"""One study and one screening of the invented demo area, made once for all tests here."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

DEMO = Path(__file__).resolve().parents[2] / "data_public" / "demo"


@pytest.fixture(scope="session")
def demo_study() -> Any:
    from capture.chain import study

    return study(DEMO, "parcel:P04", draws=400, year=2024)


@pytest.fixture(scope="session")
def demo_many() -> Any:
    from capture.chain import many

    return many(DEMO, draws=100, year=2024)


#: a name that runs something wherever it is not kept literal
HOSTILE = '=1+1 </text><script>struck=1</script> #panic("x") {{7*191}} `x` ${y} $z$ *b* _c_ \\d'


@pytest.fixture(scope="session")
def hostile_study(demo_study: Any) -> Any:
    """The demo study with a hostile name wherever a file or a map service may give one."""
    from dataclasses import replace

    ask = demo_study.chain.request
    layers = {
        kind: replace(layer, source=HOSTILE, licence=HOSTILE)
        for kind, layer in ask.area.layers.items()
    }
    area = replace(ask.area, name=HOSTILE, invented=False, layers=layers)
    count = len(demo_study.rivals.names)
    chain = replace(
        demo_study.chain,
        request=replace(ask, area=area, sites=replace(ask.sites, names=(HOSTILE,))),
        rivals=replace(demo_study.rivals, names=(HOSTILE,) * count, source=(HOSTILE,) * count),
        streams=replace(
            demo_study.streams,
            road=[HOSTILE] * len(demo_study.streams.road),
            source=[HOSTILE] * len(demo_study.streams.road),
        ),
    )
    return replace(demo_study, chain=chain, cautions=(HOSTILE, *demo_study.cautions))
