"""How the look-up page looks: large targets, one column on a phone, two on a desk, one sheet on paper."""

from __future__ import annotations

# Targets are 44 px high; what is chosen has a check mark and a thick edge, never colour alone.
STYLE = """<style>
.jp-OutputArea-child:has(.gp-look){overflow:visible!important}
.gp-look{overflow:visible;max-width:1240px;font-size:16px;line-height:1.4;padding:8px 12px}
.gp-look .jupyter-widgets{margin:0}
.gp-look .widget-box{overflow:visible;flex-shrink:0}
.gp-look .widget-html-content{font-size:16px;line-height:1.4}
.gp-look :is(h2,h3){margin:14px 0 6px;line-height:1.2;color:#111}
.gp-look h2{font-size:20px;border-bottom:2px solid #0072B2;padding-bottom:2px}
.gp-look h3{font-size:16px}
.gp-look p{margin:4px 0}
.gp-look ul,.gp-look ol{margin:4px 0 4px 22px;padding:0}
.gp-look .gp-away{display:none!important}
.gp-look .gp-small{font-size:13px;color:#3b444d}
.gp-look .gp-sheet{display:none}
.gp-stop{border:3px solid #B23A00;border-radius:10px;padding:8px 12px;background:#fff7f1}
.gp-stop .gp-stop-head{font-size:20px;font-weight:700;color:#8A2D00}
.gp-stop-parts{display:grid!important;grid-template-columns:minmax(0,3fr) minmax(0,2fr);gap:6px 18px}
.gp-stop .gp-cautions{font-size:14px;margin-top:0}.gp-stop .gp-defers{font-size:14px;font-weight:600}
.gp-stopped{border-radius:8px;background:#B23A00;color:#fff;padding:12px 18px;margin-bottom:8px}
.gp-stopped .gp-stop-word{font-size:30px;font-weight:800;margin:0}
.gp-stopped li,.gp-stopped p{font-size:20px}
.gp-look .widget-checkbox{width:auto;height:auto;max-width:100%}
.gp-look .widget-checkbox .widget-label-basic{display:flex;align-items:center;gap:10px;min-height:44px;width:auto;
  max-width:none;padding:4px 14px 4px 10px;border:2px solid #6b747d;border-radius:8px;background:#fff;color:#111;
  cursor:pointer;box-sizing:border-box;white-space:normal;overflow:visible;line-height:1.25;font-size:15px;margin:0}
.gp-look .widget-checkbox .widget-label-basic span{white-space:normal;overflow:visible;text-overflow:clip}
.gp-look .widget-checkbox input{flex:none;width:20px;height:20px;margin:0;accent-color:#0072B2}
.gp-look .widget-checkbox .widget-label-basic:has(input:checked){border-color:#00507d;background:#e3f0f9;
  font-weight:700}
.gp-look label:has(input:focus-visible){outline:3px solid #111;outline-offset:2px}
.gp-stop .gp-stops{gap:6px}.gp-stop .gp-stops .widget-checkbox{width:100%}
.gp-stop .gp-stops .widget-label-basic{width:100%}
.gp-stop .widget-checkbox .widget-label-basic:has(input:checked){border-color:#B23A00;background:#ffe3d3}
.gp-look .gp-chips{display:flex;flex-flow:row wrap;gap:6px}
.gp-look-body{display:grid!important;grid-template-columns:minmax(0,11fr) minmax(0,10fr);gap:0 24px;align-items:start}
.gp-look .gp-look-answer{position:sticky;top:0;max-height:100vh;overflow-y:auto;padding:0 4px 8px}
.gp-stop:has(.gp-stopped) .gp-cautions,
.gp-stop:has(.gp-stopped) .gp-defers{display:none}
.gp-look .gp-sign{display:flex;flex-direction:column;align-items:stretch;width:auto;height:auto;margin:4px 0 8px}
.gp-look .gp-sign>.widget-label{width:auto;max-width:none;text-align:left;font-weight:600;height:auto;font-size:15px;
  line-height:1.3;overflow:visible;white-space:normal;margin-bottom:3px}
.gp-look .gp-sign .widget-radio-box{display:flex;flex-flow:row wrap;gap:6px;width:auto;margin:0!important}
.gp-look .gp-sign .widget-radio-box label{position:relative;display:flex;flex-direction:row;align-items:center;
  justify-content:center;min-height:44px;height:auto;min-width:52px;padding:2px 12px;border:2px solid #6b747d;
  border-radius:8px;background:#fff;font-size:15px;line-height:1.2;box-sizing:border-box;margin:0;color:#111;width:auto}
.gp-look .gp-sign .widget-radio-box input{position:absolute;inset:0;width:100%;height:100%;margin:0;opacity:0;
  cursor:pointer}
.gp-look .gp-sign .widget-radio-box label:has(input:checked){border-color:#00507d;background:#00507d;color:#fff;
  font-weight:700}
.gp-look .gp-sign .widget-radio-box label:has(input:checked)::before{content:"\\2713";margin-right:6px}
.gp-look .gp-sign .widget-radio-box label:first-child{border-style:dashed;color:#3b444d}
.gp-look .gp-sign .widget-radio-box label:first-child:has(input:checked){background:#f1f3f5;color:#111;
  font-weight:400}
.gp-look .gp-fold{margin:4px 0}
.gp-look .gp-fold:not(:has(>.widget-checkbox input:checked))>.gp-folded{display:none}
.gp-look .gp-folded{padding:4px 0 4px 12px;border-left:3px solid #c5cbd3}
.gp-look .gp-entries{display:grid;grid-template-columns:repeat(auto-fill,minmax(min(230px,100%),1fr));gap:8px 14px}
.gp-look .gp-entry .widget-text,.gp-look .gp-weights .widget-text{display:flex;flex-direction:column;
  align-items:stretch;width:100%;height:auto}
.gp-look :is(.gp-entry,.gp-weights) .widget-label{width:auto;max-width:none;text-align:left;height:auto;
  white-space:normal;line-height:1.25;font-size:15px;overflow:visible}
.gp-look :is(.gp-entry,.gp-weights) input{height:44px;font-size:17px;width:100%;box-sizing:border-box;
  border:2px solid #6b747d;border-radius:8px;padding:0 10px;margin:2px 0 0}
.gp-look .gp-entry .gp-refused{font-size:14px;margin:3px 0}
.gp-look .gp-station .widget-dropdown{width:100%;height:auto;display:flex;flex-wrap:wrap}
.gp-look .gp-station{margin-bottom:6px}.gp-look .gp-over{align-self:flex-start;margin-top:6px}
.gp-look .gp-record{font-size:14px;margin:6px 0}
.gp-look .gp-station .widget-label{width:auto;font-size:15px;margin-right:8px}
.gp-look .gp-station select{height:44px;font-size:16px;min-width:0;border:2px solid #6b747d;border-radius:8px}
.gp-look .jupyter-button{width:auto;height:auto;min-height:44px;white-space:normal;line-height:1.25;font-size:15px;
  padding:6px 14px;border-radius:8px;border:2px solid #6b747d;background:#fff;color:#111;text-align:left;
  max-width:100%;overflow:visible}
.gp-look .jupyter-button:focus-visible,.gp-look :is(summary,a,select,input,.gp-print-button):focus-visible{
  outline:3px solid #111;outline-offset:2px}
.gp-look .gp-outcomes{gap:6px}.gp-look .gp-outcomes .jupyter-button{border-color:#00507d}
.gp-look .gp-traces{display:flex;flex-flow:row wrap;gap:6px}
.gp-suspects{list-style:decimal}
.gp-suspects li{margin:0 0 8px;font-size:16px}
.gp-suspect{display:flex;justify-content:space-between;gap:10px}.gp-per-cent{font-weight:700;white-space:nowrap}
.gp-share{height:12px;border:1px solid #3b444d;border-radius:6px;overflow:hidden;background:#fff}
.gp-share span{display:block;height:100%;background:#0072B2}
.gp-look .gp-why{font-size:14px;color:#2b333b}
.gp-look .gp-yet{font-weight:600}
.gp-check,.gp-end{border:2px solid #00507d;border-left-width:8px;border-radius:8px;padding:6px 12px;margin:4px 0}
.gp-look .gp-care{border-left:6px solid #B23A00;padding:2px 10px;font-weight:600;font-size:15px}
.gp-look .gp-check-name{font-size:18px;font-weight:700}
.gp-facts{display:flex;flex-flow:row wrap;gap:4px 18px;margin:4px 0}.gp-facts dt{font-size:13px;color:#3b444d}
.gp-facts dd{margin:0;font-weight:600}
.gp-look .gp-line{margin:0;font-size:15px}
.gp-print-button{display:none}
.gp-read .gp-print-button{display:inline-block;min-height:44px;font:inherit;padding:6px 14px;border:2px solid #6b747d;
  border-radius:8px;background:#fff;color:#111;cursor:pointer}
@media (max-width:820px){
.gp-look{padding:6px 8px;border:0}
.gp-look-body,.gp-stop-parts{grid-template-columns:minmax(0,1fr)}
.gp-look .gp-look-answer{position:static;max-height:none}
.gp-look .gp-summary{position:sticky;bottom:0;z-index:5;background:#fff;border-top:2px solid #0072B2;padding:6px 0}
}
@media (min-width:821px){.gp-look>.gp-summary{display:none}}
@media print{
.jp-MarkdownCell,.gp-status,header{display:none!important}
.gp-look{border:0;padding:0;display:block!important}
.gp-look>*:not(.gp-paper){display:none!important}
.gp-look .gp-sheet{display:block;font-size:8.5pt;line-height:1.3;color:#000}
.gp-look .gp-paper .widget-html-content{font-size:8.5pt;line-height:1.3}
.gp-sheet :is(p,li,td,th){font-size:8.5pt;line-height:1.25}.gp-sheet :is(p,ul){margin:1mm 0}
.gp-sheet ul{margin-left:5mm!important}.gp-look .gp-sheet h2{font-size:15pt;margin:0 0 2mm}
.gp-look .gp-sheet h3{font-size:10.5pt;margin:2mm 0 1mm}
.gp-sheet .gp-cautions{columns:2;column-gap:9mm}
.gp-sheet table{border-collapse:collapse;width:100%;margin:1.5mm 0;break-inside:auto!important}
.gp-sheet tr>th:first-child{width:32mm}.gp-sheet-suspects tr>th{width:42mm!important}
.gp-sheet :is(td,th){text-align:left;vertical-align:top;padding:.6mm 2mm .6mm 0;border-bottom:.2mm solid #888;
  white-space:normal;font-weight:400}
.gp-sheet th{font-weight:700}.gp-sheet .gp-per-cent{white-space:nowrap}
.gp-blanks{display:flex;gap:6mm}.gp-blanks span{flex:1;display:flex;gap:2mm;white-space:nowrap}
.gp-blanks i{flex:1;border-bottom:.3mm solid #000;height:5mm}
.gp-sheet .gp-small{font-size:7.5pt}
@page{margin:8mm}
}
</style>"""
