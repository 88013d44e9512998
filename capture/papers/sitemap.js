/* Draws the ground (roads, buildings), the layers and the panel of a map.
   Every string that arrives here was escaped by the Python side. */
(function () {
  "use strict";
  var SCALE = 100000, FINE = 10000000;
  var GROUND = "#f5f2ea";
  var ROADS = [["#b5a784", 5], ["#c3b694", 3.5], ["#cec3a6", 2.5], ["#d6cdb5", 1.5]];

  function unpack(part, scale) {
    var lat = 0, lon = 0, line = [], of = scale || SCALE;
    for (var i = 0; i + 1 < part.length; i += 2) {
      lat += part[i];
      lon += part[i + 1];
      line.push([lat / of, lon / of]);
    }
    return line;
  }

  function pane(map, name, order, silent) {
    if (!map.getPane(name)) {
      var made = map.createPane(name);
      made.style.zIndex = order;
      if (silent) { made.style.pointerEvents = "none"; }
    }
    return name;
  }

  function drawGround(map, ground) {
    map.getContainer().style.background = GROUND;
    if (!ground) { return; }
    var canvas = L.canvas({ pane: pane(map, "ground", 250, true), padding: 0.3 });
    var group = L.layerGroup();
    ground.buildings.forEach(function (bundle) {
      L.polygon(bundle.map(function (part) { return [unpack(part)]; }), {
        renderer: canvas, interactive: false, stroke: true, weight: 0.5, color: "#b9b19d",
        fillColor: "#ddd6c5", fillOpacity: 1, smoothFactor: 1
      }).addTo(group);
    });
    for (var tier = ROADS.length - 1; tier >= 0; tier -= 1) {
      ground.roads[tier].forEach(function (bundle) {
        L.polyline(bundle.map(function (part) { return unpack(part); }), {
          renderer: canvas, interactive: false, color: ROADS[tier][0], weight: ROADS[tier][1],
          smoothFactor: 1
        }).addTo(group);
      });
    }
    group.addTo(map);
  }

  function glyph(look, angle) {
    var r = look.radius, w = look.width, box = r + w;
    var paint = "stroke='" + look.ink + "' stroke-width='" + w + "' fill='" +
      (look.fill || "none") + "' fill-opacity='" + (look.fill ? look.fill_share : 0) + "'";
    var body;
    if (angle !== undefined) {
      body = "<path d='M0 -9 L7 8 L0 4 L-7 8 Z' fill='" + look.ink +
        "' stroke='#fff' stroke-width='1.2' transform='rotate(" + angle + ")'/>";
      box = 11;
    } else if (look.shape === "square") {
      body = "<rect x='" + (-r) + "' y='" + (-r) + "' width='" + 2 * r + "' height='" + 2 * r +
        "' " + paint + "/>";
    } else if (look.shape === "diamond") {
      body = "<path d='M0 " + (-r) + " L" + r + " 0 L0 " + r + " L" + (-r) + " 0 Z' " + paint + "/>";
    } else if (look.shape === "triangle") {
      body = "<path d='M0 " + (-r) + " L" + r + " " + r * 0.8 + " L" + (-r) + " " + r * 0.8 +
        " Z' " + paint + "/>";
    } else if (look.shape === "cross") {
      body = "<path d='M" + (-r) + " " + (-r) + " L" + r + " " + r + " M" + r + " " + (-r) +
        " L" + (-r) + " " + r + "' stroke='#fff' stroke-width='" + (w + 3) + "'/>" +
        "<path d='M" + (-r) + " " + (-r) + " L" + r + " " + r + " M" + r + " " + (-r) + " L" +
        (-r) + " " + r + "' " + paint + "/>";
    } else {
      body = "<circle r='" + r + "' " + paint + "/>";
    }
    return { size: 2 * box, svg: "<svg xmlns='http://www.w3.org/2000/svg' width='" + 2 * box +
      "' height='" + 2 * box + "' viewBox='" + (-box) + " " + (-box) + " " + 2 * box + " " +
      2 * box + "' aria-hidden='true'>" + body + "</svg>" };
  }

  function lineStyle(look, renderer, tip) {
    return {
      color: look.ink, weight: look.width, dashArray: look.dash || null, opacity: 0.95,
      fill: Boolean(look.fill), fillColor: look.fill || look.ink, fillOpacity: look.fill_share,
      interactive: Boolean(tip), renderer: renderer, lineCap: look.dash ? "butt" : "round"
    };
  }

  function nameOf(tip) {
    var holder = document.createElement("div");
    holder.innerHTML = tip.replace(/<\/(b|div|tr)>|<br>/g, "$&, ");
    return holder.textContent.replace(/[,\s]+$/, "");
  }

  function pointOf(mark, look) {
    var made = glyph(look, mark.a);
    var text = mark.l ? "<span style='position:absolute;left:" + (made.size + 1) +
      "px;top:50%;transform:translateY(-50%);white-space:nowrap;font:600 12px/1.1 sans-serif;" +
      "color:#1f2d36;text-shadow:0 0 3px #fff,0 0 3px #fff,0 0 3px #fff'>" + mark.l + "</span>" : "";
    var marker = L.marker(mark.c, {
      icon: L.divIcon({ html: made.svg + text, className: "site-mark",
        iconSize: [made.size, made.size], iconAnchor: [made.size / 2, made.size / 2] }),
      keyboard: Boolean(mark.t), interactive: Boolean(mark.t), bubblingMouseEvents: true,
      zIndexOffset: mark.z || 0
    });
    marker.on("add", function () {
      var element = marker.getElement();
      if (element && mark.t) { element.setAttribute("aria-label", nameOf(mark.t)); }
      if (element && !mark.t) { element.setAttribute("aria-hidden", "true"); }
    });
    return marker;
  }

  function shapeOf(mark, look, renderer) {
    if (mark.k === "point") { return pointOf(mark, look); }
    var parts = mark.c.map(function (part) { return unpack(part, mark.f ? FINE : SCALE); });
    if (mark.k === "area") {
      return L.polygon(parts, lineStyle(look, renderer, mark.t));
    }
    return L.polyline(parts, L.extend(lineStyle(look, renderer, mark.t), { fill: false }));
  }

  function keep(store, name, value) {
    try { store().setItem("site map: " + name, value); } catch (e) { }
  }

  function recall(store, name) {
    try { return store().getItem("site map: " + name); } catch (e) { return null; }
  }

  function local() { return window.localStorage; }

  function session() { return window.sessionStorage; }

  function remember(plan, layer, shown) {
    keep(local, plan.memory + ": " + layer.key, shown ? "1" : "0");
  }

  function isShown(plan, layer) {
    var kept = recall(local, plan.memory + ": " + layer.key);
    return kept === null ? layer.shown : kept === "1";
  }

  /* a map that is drawn again after a change looks where the reader had looked */
  function keepView(map, plan) {
    var name = plan.memory + ": view", home = plan.home.join(",");
    try {
      var kept = JSON.parse(recall(session, name) || "null");
      if (kept && kept.home === home) { map.setView(kept.at, kept.zoom, { animate: false }); }
    } catch (e) { }
    map.on("moveend", function () {
      var at = map.getCenter();
      keep(session, name, JSON.stringify(
        { home: home, at: [at.lat, at.lng], zoom: map.getZoom() }));
    });
  }

  /* a map behind a closed tab has no size, and nothing can be fitted into it until it has one */
  function onceShown(map, act) {
    var box = map.getContainer();
    if (box.clientWidth && box.clientHeight) { act(); return; }
    var watch = new ResizeObserver(function () {
      if (!box.clientWidth || !box.clientHeight) { return; }
      watch.disconnect();
      map.invalidateSize({ animate: false, pan: false });
      act();
    });
    watch.observe(box);
  }

  function drawLayer(map, plan, layer) {
    var group = L.layerGroup();
    var renderer = layer.many
      ? L.canvas({ pane: pane(map, "many", 380), padding: 0.3, tolerance: 4 })
      : L.svg({ pane: pane(map, "few-" + layer.order, 400 + layer.order), padding: 0.3 });
    layer.marks.forEach(function (mark) {
      var shape = shapeOf(mark, layer.looks[mark.s], renderer);
      if (mark.t) { shape.bindTooltip(mark.t, { sticky: true, className: "site-tip" }); }
      shape.addTo(group);
    });
    if (isShown(plan, layer)) { group.addTo(map); }
    return group;
  }

  function sample(look, kind) {
    if (kind === "point") { return glyph(look).svg; }
    var fill = kind === "area" && look.fill ? "<rect x='1' y='1' width='28' height='12' fill='" +
      look.fill + "' fill-opacity='" + look.fill_share + "' stroke='" + look.ink +
      "' stroke-width='" + look.width + "' stroke-dasharray='" + look.dash + "'/>" :
      "<path d='M0 7 H30' stroke='" + look.ink + "' stroke-width='" + look.width +
      "' stroke-dasharray='" + look.dash + "'/>";
    return "<svg width='30' height='14' aria-hidden='true'>" + fill + "</svg>";
  }

  function panel(map, plan, groups) {
    var control = L.control({ position: "topright" });
    control.onAdd = function () {
      var box = L.DomUtil.create("details", "site-panel");
      box.open = map.getContainer().clientWidth > 1000;
      box.innerHTML = "<summary>What the map shows</summary>";
      plan.layers.forEach(function (layer, index) {
        var row = L.DomUtil.create("div", "site-layer", box);
        var label = L.DomUtil.create("label", "", row);
        var tick = L.DomUtil.create("input", "", label);
        tick.type = "checkbox";
        tick.checked = map.hasLayer(groups[index]);
        L.DomUtil.create("span", "", label).innerHTML = " " + layer.name;
        tick.addEventListener("change", function () {
          if (tick.checked) { groups[index].addTo(map); } else { groups[index].remove(); }
          remember(plan, layer, tick.checked);
        });
        layer.legend.forEach(function (line) {
          var entry = L.DomUtil.create("div", "site-legend", row);
          entry.innerHTML = "<span>" + sample(layer.looks[line[0]], line[1]) + "</span>" + line[2];
        });
      });
      box.addEventListener("toggle", function () {
        if (box.open) { window.siteFold(map, ".site-drive"); }
      });
      L.DomEvent.disableClickPropagation(box);
      L.DomEvent.disableScrollPropagation(box);
      return box;
    };
    control.addTo(map);
  }

  /* on a narrow map one opened panel would lie over the other */
  window.siteFold = function (map, other) {
    var box = map.getContainer().querySelector(other + "[open]");
    if (box && map.getContainer().clientWidth < 640) { box.open = false; }
  };

  /* prints the page that the map stands in, or the screen around it */
  function printer(map) {
    var control = L.control({ position: "topleft" });
    control.onAdd = function () {
      var button = L.DomUtil.create("button", "site-print");
      button.type = "button";
      button.textContent = "Print";
      L.DomEvent.disableClickPropagation(button);
      button.addEventListener("click", function () {
        try { window.parent.print(); } catch (e) { window.print(); }
      });
      return button;
    };
    control.addTo(map);
  }

  /* on paper the map has the same middle and a key of what is on; it is pushed, not drawn again,
     since a canvas that is drawn again while a sheet is taken comes out blank */
  function forPaper(map, plan, groups) {
    var key = L.DomUtil.create("div", "site-key", map.getContainer());
    key.setAttribute("aria-hidden", "true");
    function fill(change) {
      key.innerHTML = plan.layers.map(function (layer, index) {
        if (!map.hasLayer(groups[index])) { return ""; }
        return layer.legend.map(function (line) {
          return "<span>" + sample(layer.looks[line[0]], line[1]) + " " + line[2] + "</span>";
        }).join("");
      }).join("");
      var size = map.getSize(), box = map.getContainer(), pushed = map.getPane("mapPane").style;
      pushed.marginLeft = change.matches ? (box.clientWidth - size.x) / 2 + "px" : "";
      pushed.marginTop = change.matches ? (box.clientHeight - size.y) / 2 + "px" : "";
    }
    var paper = window.matchMedia ? window.matchMedia("print") : null;
    if (paper && paper.addEventListener) { paper.addEventListener("change", fill); }
  }

  function addStyle() {
    if (document.getElementById("site-map-style")) { return; }
    var style = document.createElement("style");
    style.id = "site-map-style";
    style.textContent =
      ".site-mark{background:none;border:0;line-height:0}" +
      ".site-mark:focus-visible{outline:3px solid #1f2d36;outline-offset:2px}" +
      ".site-tip{font:13px/1.4 sans-serif;color:#1f2d36;border:1px solid #55636b;" +
      "max-width:20rem;white-space:normal;width:max-content}" +
      ".site-tip b{display:block}" +
      ".site-panel{background:#fffdf8;color:#1f2d36;border:1px solid #55636b;padding:.5rem .7rem;" +
      "font:13px/1.4 sans-serif;max-width:17rem;max-height:min(70vh,28rem);overflow:auto}" +
      ".site-panel summary{font-weight:700;cursor:pointer}" +
      ".site-layer{margin-top:.45rem}.site-layer label{cursor:pointer;font-weight:600}" +
      ".site-legend{display:flex;gap:.5rem;align-items:center;margin-left:1.3rem}" +
      ".site-legend span{flex:0 0 32px;text-align:center;line-height:0}" +
      ".leaflet-container .leaflet-control-attribution,.leaflet-control-scale-line" +
      "{font:11px/1.5 sans-serif;color:#1f2d36}" +
      ".site-print{font:600 13px sans-serif;padding:.35rem .5rem;background:#fffdf8;" +
      "color:#1f2d36;border:1px solid #55636b;cursor:pointer}" +
      ".site-print:focus-visible{outline:3px solid #0b6477;outline-offset:2px}" +
      ".site-key{display:none}" +
      "@media print{.leaflet-control-zoom,.site-print,.site-panel{display:none}" +
      ".site-key{display:flex;flex-wrap:wrap;gap:1px 10px;align-items:center;position:absolute;" +
      "left:0;right:0;top:0;z-index:900;background:#fff;padding:3px 6px;color:#1f2d36;" +
      "font:10px/1.3 sans-serif;border-bottom:1px solid #55636b}" +
      ".site-key span{display:inline-flex;gap:3px;align-items:center}" +
      ".site-key svg{max-height:14px;max-width:24px}}";
    style.textContent += window.siteDrive.style;
    document.head.appendChild(style);
  }

  window.siteMap = {
    draw: function (map, plan) {
      addStyle();
      map.attributionControl.setPrefix(false);
      plan.attribution.forEach(function (line) { map.attributionControl.addAttribution(line); });
      drawGround(map, window.siteGround);
      var groups = plan.layers.map(function (layer) {
        return drawLayer(map, plan, layer);
      });
      if (plan.layers.length) { panel(map, plan, groups); }
      L.control.scale({ imperial: plan.system === "us", metric: plan.system !== "us" }).addTo(map);
      printer(map);
      forPaper(map, plan, groups);
      onceShown(map, function () {
        if (plan.fit) { map.fitBounds(plan.fit, { animate: false }); }
        keepView(map, plan);
        if (plan.drive) { window.siteDrive.add(map, plan.drive); }
      });
      window.siteMapDrawn = true;
    }
  };
})();
