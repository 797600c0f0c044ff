/* Draws the parts of a page that only show (dashboard/components/still.py): a tree of elements, with holes for what has a life of its own. */
(function () {
  "use strict";

  function follow(event) {
    var target = event.currentTarget.getAttribute("target");
    if (event.metaKey || event.shiftKey || event.altKey || event.ctrlKey || (target && target !== "_self")) {
      return; /* the browser opens it somewhere else */
    }
    event.preventDefault();
    window.driftbook.go(event.currentTarget); /* links.js */
  }

  function draw(node, holes) {
    if (!node || typeof node !== "object") {
      return node;
    }
    if (node.hole !== undefined) {
      return holes[node.hole];
    }
    var props = Object.assign({}, node.props);
    var inside = props.children;
    delete props.children;
    var kind = node.type.toLowerCase();
    if (kind === "link") {
      kind = "a";
      props.href = window.dash_clientside.clean_url(props.href);
      props.onClick = follow;
    }
    return window.React.createElement(kind, props, ...all(inside, holes));
  }

  /* Children go one by one, so that none needs a key. */
  function all(children, holes) {
    return [children].flat(Infinity).map(function (one) {
      return draw(one, holes);
    });
  }

  function Still(props) {
    var holes = [props.children].flat();
    return window.React.createElement(window.React.Fragment, null, ...all(props.tree, holes));
  }

  window.driftbook = Object.assign({}, window.driftbook, { Still: Still });
})();
