"""Texts that try to become markup, script or requests; each calls ``hurt`` or asks the network."""

from itertools import product

_CALL = "hurt(1)"
_EVENTS = ("onerror", "onload", "onclick", "onfocus", "onmouseover", "onanimationstart", "ontoggle")
_CARRIERS = (
    "<img src=x {}={call}>",
    "<svg {}={call}></svg>",
    "<body {}={call}>",
    "<details open {}={call}>",
    "<input autofocus {}={call}>",
    "<video src=x {}={call}></video>",
    "<td {}={call}>x</td>",
    "<a href=x {}={call}>x</a>",
)
_LINKS = (
    "javascript:hurt(1)",
    "JaVaScRiPt:hurt(1)",
    "java\tscript:hurt(1)",
    "&#106;avascript:hurt(1)",
    "data:text/html,<script>hurt(1)</script>",
    "vbscript:hurt(1)",
)
_AROUND = ('<a href="{}">x</a>', "[x]({})", "![x]({})", '<iframe src="{}"></iframe>', "<{}>")
_PLAIN = (
    "<script>hurt(1)</script>",
    "<ScRiPt>hurt(1)</sCrIpT>",
    "<script src=https://example.org/x.js>",
    "</title><script>hurt(1)</script>",
    "</style><script>hurt(1)</script>",
    "--><script>hurt(1)</script>",
    "]]><script>hurt(1)</script>",
    '"><script>hurt(1)</script>',
    "'><script>hurt(1)</script>",
    '" onerror="hurt(1)',
    "' onmouseover='hurt(1)",
    "<<script>hurt(1)//<</script>",
    "<scr<script>ipt>hurt(1)</scr</script>ipt>",
    "<math><mtext><script>hurt(1)</script></mtext></math>",
    "<svg><script>hurt(1)</script></svg>",
    "<svg><style><img src=x onerror=hurt(1)></style></svg>",
    "<noscript><p title='</noscript><img src=x onerror=hurt(1)>'>",
    "{{ hurt(1) }}",
    "{% raw %}",
    "<template><script>hurt(1)</script></template>",
    "<object data=https://example.org></object>",
    "<embed src=https://example.org>",
    "<link rel=stylesheet href=https://example.org/x.css>",
    "<style>@import 'https://example.org/x.css'</style>",
    "<meta http-equiv=refresh content=0;url=x>",
    "<base href=https://example.org>",
    "<form action=https://example.org><button>x</button></form>",
    "<p style='background:url(https://example.org/x.png)'>x</p>",
    "![x](https://example.org/x.png)",
    "<img src=https://example.org/x.png>",
    "<img srcset=https://example.org/x.png>",
    "&lt;script&gt;",
    "<audio src=https://example.org/x.mp3 autoplay>",
    "<isindex type=image src=1 onerror=hurt(1)>",
)
ATTACKS = (
    *_PLAIN,
    *(carrier.format(event, call=_CALL) for carrier, event in product(_CARRIERS, _EVENTS)),
    *(around.format(link) for around, link in product(_AROUND, _LINKS)),
)
