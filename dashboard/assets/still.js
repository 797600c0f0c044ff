/* Draws the parts of a page that only show (dashboard/components/still.py): a tree of elements, with holes for what has a life of its own. */
(function () {
  "use strict";

  function follow(event) {
    var target = event.currentTarget.getAttribute("target");
    if (event.metaKey || event.shiftKey || event.altKey || event.ctrlKey || (target && target !== "_self")) {
      return; /* the browser opens it somewhere else */
    }
    event.preventDefault();
    window.history.pushState({}, "", event.currentTarget.getAttribute("href"));
    window.dispatchEvent(new CustomEvent("_dashprivate_pushstate"));
    window.scrollTo(0, 0);
  }

  function draw(node, holes) {
    if (node === null || typeof node !== "object") {
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
    return window.React.createElement.apply(null, [kind, props].concat(all(inside, holes)));
  }

  /* Children go one by one, so that none needs a key. */
  function all(children, holes) {
    if (!Array.isArray(children)) {
      return children === undefined ? [] : [draw(children, holes)];
    }
    return children.reduce(function (drawn, one) {
      return drawn.concat(Array.isArray(one) ? all(one, holes) : [draw(one, holes)]);
    }, []);
  }

  function Still(props) {
    var holes = props.children === undefined ? [] : Array.isArray(props.children) ? props.children : [props.children];
    return window.React.createElement.apply(null, [window.React.Fragment, null].concat(all(props.tree, holes)));
  }

  window.driftbook = Object.assign({}, window.driftbook, { Still: Still });
})();
