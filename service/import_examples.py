"""Documents that show what an import takes: pieces of the Kestrel Bay Toolroom, an invented shop."""

from __future__ import annotations

from typing import Final

__all__ = ["CSV_EXAMPLE", "XML_EXAMPLE"]

XML_EXAMPLE: Final = """\
<?xml version="1.0" encoding="UTF-8"?>
<MTConnectAssets xmlns="urn:mtconnect.org:MTConnectAssets:1.4">
  <Header version="1.4.0.1" creationTime="2031-05-04T08:00:00Z" sender="kestrel-bay" instanceId="1"
    assetBufferSize="16" assetCount="1"/>
  <Assets>
    <CuttingToolArchetype assetId="KB-EM12-4" timestamp="2031-05-04T08:00:00Z" toolId="KB-EM12-4">
      <CuttingToolLifeCycle>
        <ProcessSpindleSpeed maximum="24000"/>
        <Measurements>
          <ShankDiameter code="DMM" units="MILLIMETER" nominal="12"/>
          <OverallToolLength code="OAL" units="MILLIMETER" nominal="83"/>
          <CuttingDiameterMax code="DC" units="MILLIMETER" nominal="12"/>
          <DepthOfCutMax code="APMX" units="MILLIMETER" nominal="26"/>
          <Weight code="WT" nominal="118"/>
        </Measurements>
      </CuttingToolLifeCycle>
    </CuttingToolArchetype>
  </Assets>
</MTConnectAssets>
"""

CSV_EXAMPLE: Final = """\
KIND,ID,DMM,TCDMM,LS,OAL,DC,NOF,WT,RUNOUT_UM,RUNOUT_AT_MM,machine_side.form,PRICE
cutter,KB-EM8-3,8,h6,36,63,8,3,0.043,3,24,plain,41.20
gauge_pin,KB-GP8,8,h6,100,100,,,0.04,1,24,plain,
cutter,KB-DR5,5,h6,,62,"5,0",2,,,,,
"""
