"""How panels look on the page: one style sheet, sent along with the first of them."""

from __future__ import annotations

# A white card with dark text of its own, its fields too, whatever the page's theme.
STYLE = """<style>
.gp-panel,.gp-predict{color-scheme:light;--jp-widgets-color:#111;--jp-widgets-label-color:#111;
  --jp-widgets-input-color:#111;--jp-widgets-input-background-color:#fff;--jp-widgets-input-border-color:#8c8c8c;
  --jp-content-font-color1:#111;--jp-ui-font-color1:#111;--jp-layout-color1:#fff;--jp-layout-color2:#eee;
  --jp-border-color1:#8c8c8c;--jp-widgets-slider-border-color:#8c8c8c}
.gp-group-box>.widget-html{margin:0}
.gp-panel{border:1px solid #c5cbd3;border-radius:8px;padding:10px;background:#fff;color:#111;max-width:1240px;
  overflow:hidden;box-sizing:border-box}
.gp-panel .widget-html-content,.gp-panel .widget-label{color:#111}
.gp-pictures{flex-wrap:wrap;gap:8px;align-items:flex-start;overflow:hidden}
.gp-pictures>.widget-html{flex:1 1 400px;min-width:min(400px,100%);max-width:600px;margin:0}
.gp-wide>.widget-html:first-child{flex:1 1 100%;max-width:100%}
.gp-wide>.widget-html:nth-child(2){flex:1 1 440px;min-width:min(400px,100%);max-width:560px}
.gp-wide>.gp-ladder{flex:0 1 290px;min-width:min(240px,100%)}
.gp-wide>.widget-html:first-child .widget-html-content{overflow-x:auto}
.gp-wide>.widget-html:first-child svg{min-width:720px}
.gp-body{flex-wrap:wrap;gap:8px 12px;align-items:flex-start;overflow:hidden}
.gp-words-first{flex-wrap:wrap-reverse;align-items:flex-end}
.gp-words-first .gp-group-box:last-child{flex:3 1 300px;max-width:480px}
.gp-column{flex:1 1 840px;min-width:min(400px,100%);overflow:hidden}
.gp-body>.gp-bank{flex:1 1 300px;border-top:0;padding-top:0}
.gp-pictures .widget-html-content{width:100%}
.gp-pictures svg:not(.gp-chart){width:100%;height:auto;display:block}
.gp-chart{max-width:100%;height:auto;display:block}
.gp-panel .widget-html{height:auto}
.gp-readouts{display:flex;flex-wrap:wrap;gap:6px;margin:6px 0;line-height:1.25}
.gp-readout{border:1px solid #c5cbd3;border-radius:6px;padding:3px 9px;background:#f5f7f9;min-width:86px}
.gp-readout span{display:block;font-size:12px;color:#3b444d}
.gp-readout b{font-size:15px;white-space:nowrap}
.gp-sentence{font-size:15px;line-height:1.45;margin:6px 0;max-width:95ch}
.gp-events{margin:4px 0;font-size:14px}.gp-events ul{margin:4px 0 4px 20px;padding:0;line-height:1.4}
.gp-events summary{cursor:pointer}
.gp-bank{flex-wrap:wrap;gap:10px 18px;overflow:hidden;border-top:1px solid #c5cbd3;padding-top:4px;
  align-items:flex-start}
.gp-group-box{flex:1 1 176px;min-width:176px;max-width:300px;overflow:hidden}
.gp-group{margin:4px 0 2px;font-size:13px;color:#3b444d;border-bottom:2px solid #0072B2}
.gp-label{font-size:14px;font-weight:600}.gp-unit{font-size:13px;white-space:nowrap;color:#3b444d}
.gp-control .widget-html-content{line-height:1.3}
.gp-control{width:100%;overflow:hidden;margin:2px 0}
.gp-control .jupyter-widgets{margin:2px 0}.gp-control .widget-box{margin:0;overflow:visible}
.gp-control .widget-slider{min-width:60px;margin:2px 12px}
.gp-predict .widget-button{align-self:flex-start;padding:0 16px}
.gp-predict{border:1px solid #c5cbd3;border-left:5px solid #0072B2;border-radius:8px;padding:8px 12px;margin:0 0 8px;
  background:#fff;color:#111;max-width:1180px;box-sizing:border-box;overflow:hidden}
.gp-predict .widget-html-content,.gp-predict label{color:#111!important}
.gp-question{font-size:16px;line-height:1.4;margin:2px 0 4px}
.gp-predict .widget-radio-box{margin:0}.gp-predict .widget-radio-box label{font-size:15px;height:auto;line-height:1.5}
.gp-predict .widget-radio-box label:has(input:checked){font-weight:bold}
.gp-pair{display:grid;grid-template-columns:repeat(auto-fit,minmax(min(640px,100%),1fr));gap:8px;width:100%}
.gp-pair figure{margin:0}.gp-pair figcaption{font-size:14px;font-weight:600;color:#111}
.gp-pictures:not(.gp-wide):has(.gp-pair)>.widget-html:first-child{flex:1 1 100%;max-width:100%}
.gp-pictures:not(.gp-wide) .gp-pair{grid-template-columns:repeat(auto-fit,minmax(min(400px,100%),1fr))}
.gp-player{align-items:center;flex-wrap:wrap;gap:4px 8px;border-top:1px solid #c5cbd3;padding-top:4px;overflow:hidden}
.gp-player>.widget-button{min-width:76px}
.gp-clock{position:absolute;width:0;height:0;overflow:hidden;visibility:hidden}
.gp-switch{margin-bottom:4px}
.gp-map table{border-collapse:collapse;width:100%;max-width:900px;font-size:15px;color:#111}
.gp-map :is(th,td){text-align:left;vertical-align:top;padding:6px 12px 6px 0;border-bottom:1px solid #c5cbd3;
  line-height:1.4}
.gp-map tbody th{font-weight:600}.gp-map .gp-about{font-weight:400;color:#3b444d}
.gp-map a{color:#005a8f}
.gp-bar{display:inline-block;width:130px;height:9px;border:1px solid #3b444d;border-radius:5px;overflow:hidden}
.gp-bar span{display:block;height:100%;background:#0072B2}
.gp-stage{display:none!important}
.gp-projector .gp-stage{display:flex!important;gap:12px}
.gp-on-projector .gp-panel,.gp-on-projector .gp-predict{max-width:none}
.gp-on-projector :is(.widget-button,.widget-toggle-button,.widget-dropdown select){font-size:22px;height:auto;
  line-height:1.4;padding:4px 18px}
.gp-on-projector .gp-player>.widget-dropdown{width:130px!important}
.gp-on-projector .gp-panel :is(.widget-text input,select){font-size:20px;height:auto}
.gp-on-projector .gp-panel :is(.widget-dropdown,.widget-text){height:auto;min-height:42px}
.gp-on-projector .gp-question,.gp-on-projector .gp-sentence{font-size:32px;line-height:1.35;max-width:60ch}
.gp-on-projector .gp-predict .widget-radio-box label{font-size:28px}
.gp-projector .gp-readout span{font-size:20px}.gp-projector .gp-readout b{font-size:32px}
.gp-projector .gp-events{font-size:24px}
.gp-projector :is(.gp-label,.gp-unit,.gp-group){font-size:22px}
.gp-projector .gp-pictures>.widget-html{max-width:none}
.gp-projector .gp-pictures:not(.gp-wide)>.widget-html{flex:1 1 560px}
.gp-projector .gp-wide>.widget-html:nth-child(2){flex:1 1 800px}
.gp-projector .gp-wide>.gp-ladder{flex:1 1 380px;max-width:560px}
.gp-projector .gp-chart{width:100%}
.gp-projector .gp-pair figcaption{font-size:26px}
.gp-projector.gp-folded .gp-bank{display:none}
.gp-projector.gp-hidden :is(.gp-sentence,.gp-events){display:none}
.gp-stale .gp-pictures svg{opacity:.35}
.gp-refused{border-left:5px solid #D55E00;padding:6px 10px;margin:6px 0;font-size:15px;background:#fff4ec}
</style>"""
